-- The calls counted, so that what is asked of sheets, games and evaluators need not look at each call again.
-- Grain: one game, evaluator, umpire, grade and day of entry. Key: row_id (that of its first call).
-- Reads: checked.plate_calls.
SELECT
    game_id,
    evaluator_id,
    umpire_id,
    grade,
    recorded_on,
    min(row_id) AS row_id,
    arg_min(file_id, row_id) AS file_id,
    arg_min(line_no, row_id) AS line_no,
    count(*) AS call_count
FROM checked.plate_calls
GROUP BY game_id, evaluator_id, umpire_id, grade, recorded_on
ORDER BY row_id
