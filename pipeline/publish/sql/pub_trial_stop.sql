-- The cuts that can be tried on a page, as scored.
-- grain: one row per level, area and cut
-- key: target_level, area, place
-- reads: scores.trial_stop
SELECT target_level, area, place, cut, is_policy
FROM scores.trial_stop
ORDER BY target_level NULLS FIRST, area NULLS FIRST, place NULLS FIRST
