-- Right and graded calls by everything that the model knows of a call.
-- grain: one row per area, umpire, game, evaluator and stratum; edge, open and ungraded calls are left out
-- key: area, umpire_id, game_id, evaluator_id, stratum
-- reads: scores.call_grade
SELECT
    area, umpire_id, game_id, evaluator_id, coalesce(stratum, topic) AS stratum, min(game_on) AS game_on,
    CAST(count(*) FILTER (verdict = 'right') AS DOUBLE) AS successes,
    CAST(count(*) AS DOUBLE) AS trials
FROM scores.call_grade
WHERE verdict IN ('right', 'wrong')
GROUP BY area, umpire_id, game_id, evaluator_id, coalesce(stratum, topic)
ORDER BY area, umpire_id, game_id, evaluator_id, stratum
