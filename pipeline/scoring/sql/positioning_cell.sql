-- Good and all checks of how the plate was worked.
-- grain: one row per umpire, game, evaluator and item; unrecorded items are left out
-- key: umpire_id, game_id, evaluator_id, stratum
-- reads: facts.fct_positioning
SELECT
    'positioning' AS area, umpire_id, game_id, evaluator_id, item AS stratum, NULL::DATE AS game_on,
    CAST(count(*) FILTER (good) AS DOUBLE) AS successes,
    CAST(count(*) AS DOUBLE) AS trials
FROM facts.fct_positioning
WHERE good IS NOT NULL
GROUP BY umpire_id, game_id, evaluator_id, item
ORDER BY umpire_id, game_id, evaluator_id, item
