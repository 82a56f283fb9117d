-- Rates by area, as scored.
-- grain: one row per umpire and area
-- key: umpire_id, area
-- reads: scores.umpire_rate
SELECT
    umpire_id, area, calls, right_calls, raw_rate, raw_low, raw_high, adjusted_rate, adjusted_low,
    adjusted_high, evaluator_points, situation_points, shrinkage_points, games, evaluators
FROM scores.umpire_rate
ORDER BY umpire_id NULLS FIRST, area NULLS FIRST
