-- How many calls ended in each verdict.
-- grain: one row per verdict that occurred
-- key: verdict
-- reads: scores.call_grade
SELECT verdict, count(*) AS calls
FROM scores.call_grade
GROUP BY verdict
ORDER BY verdict
