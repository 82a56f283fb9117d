-- Rows with a measured place that repeat another row of the same evaluator in everything but ids, numbers, the day of
-- entry and notes. Rows by eye are not looked at: few words make many of them alike.
-- grain: one row per evaluator with at least one measured place
-- key: evaluator_id
-- reads: checked.plate_calls
WITH signed AS (
    SELECT
        evaluator_id,
        call_id,
        md5(CAST(to_json(row(*COLUMNS(
            * EXCLUDE (
                row_id, file_id, line_no, call_id, game_id, evaluator_id, umpire_id, pitch_no, recorded_on, note
            )
        ))) AS VARCHAR)) AS signature
    FROM checked.plate_calls
    WHERE ball_x_in IS NOT NULL AND ball_z_in IS NOT NULL
),
paired AS (
    SELECT *, count(*) OVER (PARTITION BY evaluator_id, signature) > 1 AS is_repeated FROM signed
)
SELECT
    evaluator_id,
    count(*) AS measured,
    count(*) FILTER (is_repeated) AS repeated,
    array_to_string(list_slice(list(call_id ORDER BY call_id) FILTER (is_repeated), 1, 5), ';') AS call_ids
FROM paired
GROUP BY evaluator_id
ORDER BY evaluator_id
