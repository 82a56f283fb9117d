-- Agreement of evaluators on the pitches they share, as scored.
-- grain: one row per aspect
-- key: aspect
-- reads: scores.evaluator_agreement
SELECT
    aspect, looks, evaluators, alpha, alpha_low, alpha_high
FROM scores.evaluator_agreement
ORDER BY aspect NULLS FIRST
