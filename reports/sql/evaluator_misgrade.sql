-- Grades against the rules, in the order of the pages.
-- grain: one row per call whose grade by the evaluator disagrees with the rules
-- key: evaluator_id, call_id
-- reads: published.pub_evaluator_misgrade
SELECT
    evaluator_id, call_id, topic, rule_ids, evaluator_grade, our_verdict, because, other_code
FROM published.pub_evaluator_misgrade
ORDER BY evaluator_id, call_id
