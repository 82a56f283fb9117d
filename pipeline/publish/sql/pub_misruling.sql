-- Misrulings, as scored.
-- grain: one row per misruling that occurred
-- key: misruling_code
-- reads: scores.misruling
SELECT
    misruling_code, title, topic, area, consequence, consequence_weight, times, umpires, chances,
    rate, rate_low, rate_high, umpire_share, clinic_score, explanation, rule_refs, example_call_ids
FROM scores.misruling
ORDER BY misruling_code NULLS FIRST
