-- Who saw whom: graded calls and games by umpire and evaluator.
-- grain: one row per umpire and evaluator with a graded call
-- key: umpire_id, evaluator_id
-- reads: scores.call_grade
SELECT
    umpire_id, evaluator_id,
    count(*) AS calls,
    count(DISTINCT game_id) AS games,
    min(game_on) AS first_on,
    max(game_on) AS last_on
FROM scores.call_grade
WHERE verdict IN ('right', 'wrong') AND umpire_id IS NOT NULL AND evaluator_id IS NOT NULL
GROUP BY umpire_id, evaluator_id
ORDER BY umpire_id NULLS FIRST, evaluator_id NULLS FIRST
