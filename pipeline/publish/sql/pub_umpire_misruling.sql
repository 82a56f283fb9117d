-- Misrulings by umpire, as scored.
-- grain: one row per umpire and misruling that he made
-- key: umpire_id, misruling_code
-- reads: scores.umpire_misruling
SELECT
    umpire_id, misruling_code, times
FROM scores.umpire_misruling
ORDER BY umpire_id NULLS FIRST, misruling_code NULLS FIRST
