-- Wrong rulings by subject, name, what they cost, and whether they read like a matter of the eye.
-- grain: one row per topic, misruling and consequence that occurred
-- key: topic, misruling_code, consequence
-- reads: scores.call_grade, scores.pattern_call
SELECT
    g.topic, g.area, g.misruling_code, g.consequence,
    count(*) AS times,
    count(*) FILTER (p.kind = 'judgement') AS judged
FROM scores.call_grade AS g
JOIN scores.pattern_call AS p USING (call_id)
WHERE g.misruling_code IS NOT NULL
GROUP BY g.topic, g.area, g.misruling_code, g.consequence
ORDER BY g.topic, g.area, g.misruling_code, g.consequence
