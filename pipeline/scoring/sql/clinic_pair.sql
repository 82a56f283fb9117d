-- Wrong rulings and graded calls of each umpire on each subject.
-- grain: one row per umpire and topic with a graded call
-- key: umpire_id, topic
-- reads: scores.call_grade, checked.umpires
SELECT g.umpire_id, g.topic, count(*) AS chances, count(*) FILTER (g.verdict = 'wrong') AS times
FROM scores.call_grade AS g
JOIN checked.umpires AS u USING (umpire_id)
WHERE g.verdict IN ('right', 'wrong')
GROUP BY g.umpire_id, g.topic
ORDER BY g.umpire_id, g.topic
