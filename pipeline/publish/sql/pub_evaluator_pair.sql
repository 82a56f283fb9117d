-- Two evaluators on the pitches they share, as scored.
-- grain: one row per aspect and pair of evaluators
-- key: aspect, evaluator_id, other_id
-- reads: scores.evaluator_pair
SELECT
    aspect, evaluator_id, other_id, looks, same, kappa
FROM scores.evaluator_pair
ORDER BY aspect NULLS FIRST, evaluator_id NULLS FIRST, other_id NULLS FIRST
