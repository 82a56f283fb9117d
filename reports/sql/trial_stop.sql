-- The cuts that can be tried, ascending.
-- grain: one row per level, area and cut
-- key: target_level, area, place
-- reads: published.pub_trial_stop
SELECT target_level, area, place, cut, is_policy
FROM published.pub_trial_stop
ORDER BY target_level, area, place
