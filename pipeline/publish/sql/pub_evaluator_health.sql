-- Health of the sheets, as scored.
-- grain: one row per evaluator, measure and part of it
-- key: evaluator_id, measure, part
-- reads: scores.evaluator_health
SELECT
    evaluator_id, measure, part, cases, found, "value", low, high, median, evaluators, p_value, p_corrected,
    stands_out, rule_ids, call_ids, remark
FROM scores.evaluator_health
ORDER BY evaluator_id, measure, part
