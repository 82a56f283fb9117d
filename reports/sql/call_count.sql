-- How many calls each evaluator wrote down of each umpire.
-- grain: one row per umpire and evaluator
-- key: umpire_id, evaluator_id
-- reads: published.pub_call
SELECT umpire_id, evaluator_id, count(*) AS calls
FROM published.pub_call
GROUP BY umpire_id, evaluator_id
ORDER BY umpire_id NULLS FIRST, evaluator_id NULLS FIRST
