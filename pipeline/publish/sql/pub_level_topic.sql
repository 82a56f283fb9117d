-- Wrong rulings by subject and level, as planned.
-- grain: one row per level, topic
-- key: level, topic
-- reads: scores.level_topic
SELECT
    level, topic, times, chances, umpires, rate, rate_low, rate_high, beside
FROM scores.level_topic
ORDER BY level NULLS FIRST, topic NULLS FIRST
