-- The calls behind each misruling with the rules' reasons.
-- grain: one row per call with a misruling
-- key: call_id
-- reads: scores.call_grade, rulings.ruling
SELECT c.misruling_code, c.call_id, c.topic, r.because, r.rule_refs
FROM scores.call_grade AS c
JOIN rulings.ruling AS r USING (call_id)
WHERE c.misruling_code IS NOT NULL
ORDER BY c.misruling_code, c.call_id
