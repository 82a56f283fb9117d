-- Misrulings by umpire, in the order of the pages.
-- grain: one row per umpire and misruling that he made
-- key: umpire_id, misruling_code
-- reads: published.pub_umpire_misruling
SELECT
    umpire_id, misruling_code, times
FROM published.pub_umpire_misruling
ORDER BY umpire_id, times DESC, misruling_code
