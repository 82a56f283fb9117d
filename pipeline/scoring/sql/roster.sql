-- Umpires with their level and what was seen of them.
-- grain: one row per umpire of the roster
-- key: umpire_id
-- reads: checked.umpires, scores.call_grade
WITH seen AS (
    SELECT
        umpire_id,
        count(*) AS calls,
        count(*) FILTER (verdict = 'right') AS right_calls,
        count(DISTINCT game_id) AS games,
        count(DISTINCT evaluator_id) AS evaluators
    FROM scores.call_grade
    WHERE verdict IN ('right', 'wrong')
    GROUP BY umpire_id
)
SELECT
    u.umpire_id, u.name, u.level,
    coalesce(s.calls, 0) AS calls,
    coalesce(s.right_calls, 0) AS right_calls,
    coalesce(s.games, 0) AS games,
    coalesce(s.evaluators, 0) AS evaluators
FROM checked.umpires AS u
LEFT JOIN seen AS s USING (umpire_id)
ORDER BY u.umpire_id
