-- Grades against the rules, as scored.
-- grain: one row per call whose grade by the evaluator disagrees with the rules
-- key: evaluator_id, call_id
-- reads: scores.evaluator_misgrade
SELECT
    evaluator_id, call_id, topic, rule_ids, evaluator_grade, our_verdict, because, other_code
FROM scores.evaluator_misgrade
ORDER BY evaluator_id NULLS FIRST, call_id NULLS FIRST
