-- Wrong rulings and graded calls on each subject, by the level that the umpire now works.
-- grain: one row per level and topic with a graded call
-- key: level, topic
-- reads: scores.call_grade, checked.umpires
SELECT
    u.level, g.topic,
    count(*) AS chances,
    count(*) FILTER (g.verdict = 'wrong') AS times,
    count(DISTINCT g.umpire_id) FILTER (g.verdict = 'wrong') AS umpires
FROM scores.call_grade AS g
JOIN checked.umpires AS u USING (umpire_id)
WHERE g.verdict IN ('right', 'wrong')
GROUP BY u.level, g.topic
ORDER BY u.level, g.topic
