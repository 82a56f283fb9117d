-- Wrong rulings by subject and level, in the order of the pages.
-- grain: one row per level, topic
-- key: level, topic
-- reads: published.pub_level_topic
SELECT
    level, topic, times, chances, umpires, rate, rate_low, rate_high, beside
FROM published.pub_level_topic
ORDER BY level, topic
