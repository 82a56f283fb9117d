-- What each umpire who is to attend misruled on the subjects of his sessions.
-- grain: one row per umpire, topic, misruling and stratum
-- key: umpire_id, topic, misruling_code, stratum
-- reads: scores.call_grade, clinic_taught (umpire_id, topic)
SELECT
    g.umpire_id, g.topic, g.misruling_code, g.stratum,
    count(*) AS times,
    list(g.call_id ORDER BY g.call_id)[1:5] AS calls
FROM scores.call_grade AS g
JOIN (SELECT DISTINCT umpire_id, topic FROM clinic_taught) AS t
    ON t.umpire_id = g.umpire_id AND t.topic = g.topic
WHERE g.misruling_code IS NOT NULL
GROUP BY g.umpire_id, g.topic, g.misruling_code, g.stratum
ORDER BY g.umpire_id, g.topic, g.misruling_code, g.stratum
