-- Graded parts with what they would cost: the key by which a misruling is named and its chances are counted.
-- grain: one row per call and component with verdict right or wrong
-- key: call_id, component
-- reads: scores.grade, facts.fct_call
SELECT
    g.call_id,
    g.umpire_id,
    g.topic,
    g.area,
    g.component,
    g.ruled,
    g.right_value,
    g.verdict,
    CASE
        WHEN g.component <> 'pitch' OR g.topic NOT IN ('pitch', 'third_strike') THEN 'any'
        WHEN f.strikes = 2 THEN 'strike_three'
        WHEN f.balls = 3 THEN 'ball_four'
        ELSE 'any'
    END AS stake
FROM scores.grade AS g
JOIN facts.fct_call AS f USING (call_id)
WHERE g.verdict IN ('right', 'wrong')
ORDER BY g.call_id, g.component
