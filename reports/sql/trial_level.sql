-- The levels whose draws a page can hold, and how many draws.
-- grain: one row per level judged for that has draws
-- key: target_level
-- reads: published.pub_trial_draw
SELECT target_level, max(draws) AS draws
FROM published.pub_trial_draw
GROUP BY target_level
ORDER BY target_level
