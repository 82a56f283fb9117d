-- Health of the sheets, in the order of the pages.
-- grain: one row per evaluator, measure and part of it
-- key: evaluator_id, measure, part
-- reads: published.pub_evaluator_health
SELECT
    evaluator_id, measure, part, cases, found, "value", low, high, median, evaluators, p_value, p_corrected,
    stands_out, rule_ids, call_ids, remark
FROM published.pub_evaluator_health
ORDER BY evaluator_id, measure, part
