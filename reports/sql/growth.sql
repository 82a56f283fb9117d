-- Change over the season, in the order of the pages.
-- grain: one row per umpire and area
-- key: umpire_id, area
-- reads: published.pub_growth
SELECT
    umpire_id, area, games, days, first_on, last_on, outcome, rate_early,
    rate_late, change, change_low, change_high, p_better, common_change, growth_sd, drift_sd
FROM published.pub_growth
ORDER BY umpire_id, area
