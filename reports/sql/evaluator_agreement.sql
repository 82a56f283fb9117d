-- Agreement of evaluators on the pitches they share, in the order of the pages.
-- grain: one row per aspect
-- key: aspect
-- reads: published.pub_evaluator_agreement
SELECT
    aspect, looks, evaluators, alpha, alpha_low, alpha_high
FROM published.pub_evaluator_agreement
ORDER BY aspect DESC
