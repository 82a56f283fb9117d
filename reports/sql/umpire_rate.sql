-- Rates by area, in the order of the pages.
-- grain: one row per umpire and area
-- key: umpire_id, area
-- reads: published.pub_umpire_rate
SELECT
    umpire_id, area, calls, right_calls, raw_rate, raw_low, raw_high, adjusted_rate, adjusted_low,
    adjusted_high, evaluator_points, situation_points, shrinkage_points, games, evaluators
FROM published.pub_umpire_rate
ORDER BY umpire_id, area
