-- Two evaluators on the pitches they share, in the order of the pages.
-- grain: one row per aspect and pair of evaluators
-- key: aspect, evaluator_id, other_id
-- reads: published.pub_evaluator_pair
SELECT
    aspect, evaluator_id, other_id, looks, same, kappa
FROM published.pub_evaluator_pair
ORDER BY aspect DESC, evaluator_id, other_id
