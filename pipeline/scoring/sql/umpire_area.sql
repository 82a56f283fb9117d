-- What was seen of each umpire in each area of calls, and overall.
-- grain: one row per umpire and area (or 'overall') with a graded call
-- key: umpire_id, area
-- reads: scores.call_grade
SELECT
    umpire_id,
    coalesce(area, 'overall') AS area,
    count(*) AS calls,
    count(*) FILTER (verdict = 'right') AS right_calls,
    count(DISTINCT game_id) AS games,
    count(DISTINCT evaluator_id) AS evaluators
FROM scores.call_grade
WHERE verdict IN ('right', 'wrong')
GROUP BY GROUPING SETS ((umpire_id, area), (umpire_id))
ORDER BY umpire_id, area
