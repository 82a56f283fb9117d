-- Misrulings by level, in the order of the pages.
-- grain: one row per level now worked and misruling
-- key: level, misruling_code
-- reads: published.pub_level_misruling
SELECT
    level, misruling_code, times, chances
FROM published.pub_level_misruling
ORDER BY level, misruling_code
