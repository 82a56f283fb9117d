-- The area to which each topic belongs.
-- grain: one row per topic that occurred
-- key: topic
-- reads: scores.call_grade
SELECT topic, min(area) AS area
FROM scores.call_grade
GROUP BY topic
ORDER BY topic
