-- Misrulings by level, as scored.
-- grain: one row per level now worked and misruling
-- key: level, misruling_code
-- reads: scores.level_misruling
SELECT
    level, misruling_code, times, chances
FROM scores.level_misruling
ORDER BY level NULLS FIRST, misruling_code NULLS FIRST
