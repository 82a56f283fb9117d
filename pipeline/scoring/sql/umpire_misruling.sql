-- How often each umpire made each misruling.
-- grain: one row per umpire and misruling that occurred
-- key: umpire_id, misruling_code
-- reads: scores.call_grade
SELECT umpire_id, misruling_code, count(*) AS times
FROM scores.call_grade
WHERE misruling_code IS NOT NULL
GROUP BY umpire_id, misruling_code
ORDER BY umpire_id, misruling_code
