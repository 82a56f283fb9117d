-- How often each umpire misruled, by what it cost.
-- grain: one row per umpire and consequence class that occurred
-- key: umpire_id, consequence
-- reads: scores.call_grade
SELECT umpire_id, consequence, count(*) AS times
FROM scores.call_grade
WHERE consequence IS NOT NULL
GROUP BY umpire_id, consequence
ORDER BY umpire_id, consequence
