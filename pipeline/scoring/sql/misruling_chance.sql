-- Calls on which each misruling could have been made: same topic, part, right answer and stake.
-- grain: one row per misruling and umpire who had a chance
-- key: misruling_code, umpire_id
-- reads: scores.misruling_case, scores.misruling_name
WITH kinds AS (
    SELECT DISTINCT misruling_code, topic, component, right_value, stake
    FROM scores.misruling_name
)
SELECT k.misruling_code, c.umpire_id, count(DISTINCT c.call_id) AS chances
FROM scores.misruling_case AS c
JOIN kinds AS k USING (topic, component, right_value, stake)
GROUP BY k.misruling_code, c.umpire_id
ORDER BY k.misruling_code, c.umpire_id
