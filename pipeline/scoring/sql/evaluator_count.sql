-- What each evaluator recorded, and how often the grade agrees with the rules.
-- grain: one row per evaluator of the roster with at least one call
-- key: evaluator_id
-- reads: checked.evaluators, scores.call_grade, rulings.ruling
SELECT
    e.evaluator_id, e.name, e.level,
    count(*) AS calls,
    count(DISTINCT c.game_id) AS games,
    count(DISTINCT c.umpire_id) AS umpires,
    count(*) FILTER (c.verdict IN ('right', 'wrong')) AS graded_calls,
    count(c.evaluator_agrees) AS grades,
    count(*) FILTER (c.evaluator_agrees) AS agree,
    count(*) FILTER (r.state = 'settled') AS settled,
    count(*) FILTER (c.evaluator_grade = 'right' AND c.verdict = 'right') AS right_right,
    count(*) FILTER (c.evaluator_grade = 'right' AND c.verdict = 'wrong') AS right_wrong,
    count(*) FILTER (c.evaluator_grade = 'wrong' AND c.verdict = 'right') AS wrong_right,
    count(*) FILTER (c.evaluator_grade = 'wrong' AND c.verdict = 'wrong') AS wrong_wrong
FROM checked.evaluators AS e
JOIN scores.call_grade AS c USING (evaluator_id)
LEFT JOIN rulings.ruling AS r USING (call_id)
GROUP BY e.evaluator_id, e.name, e.level
ORDER BY e.evaluator_id
