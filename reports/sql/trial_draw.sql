-- The draws against the cuts that can be tried, level by level.
-- grain: one row per level, area and umpire
-- key: target_level, area, umpire_id
-- reads: published.pub_trial_draw
SELECT target_level, area, umpire_id, calls, draws, from_base64(reached) AS reached
FROM published.pub_trial_draw
ORDER BY target_level, area, umpire_id
