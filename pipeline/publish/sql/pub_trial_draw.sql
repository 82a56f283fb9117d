-- The draws against the cuts that can be tried, as scored, their bytes as text.
-- grain: one row per level, area and umpire judged for the level
-- key: target_level, area, umpire_id
-- reads: scores.trial_draw
SELECT target_level, area, umpire_id, calls, draws, to_base64(reached) AS reached
FROM scores.trial_draw
ORDER BY target_level NULLS FIRST, area NULLS FIRST, umpire_id NULLS FIRST
