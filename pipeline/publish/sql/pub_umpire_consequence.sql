-- What each umpire's misrulings cost: what the policy's limits are held against.
-- grain: one row per umpire and consequence class that occurred
-- key: umpire_id, consequence
-- reads: scores.call_grade
SELECT umpire_id, consequence, count(*) AS times
FROM scores.call_grade
WHERE umpire_id IS NOT NULL AND consequence IS NOT NULL
GROUP BY umpire_id, consequence
ORDER BY umpire_id NULLS FIRST, consequence NULLS FIRST
