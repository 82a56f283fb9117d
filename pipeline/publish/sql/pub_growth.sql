-- Change over the season, as scored.
-- grain: one row per umpire and area with a graded call
-- key: umpire_id, area
-- reads: scores.growth
SELECT
    umpire_id, area, games, days, CAST(first_on AS DATE) AS first_on, CAST(last_on AS DATE) AS last_on, outcome, rate_early,
    rate_late, change, change_low, change_high, p_better, common_change, growth_sd, drift_sd
FROM scores.growth
ORDER BY umpire_id NULLS FIRST, area NULLS FIRST
