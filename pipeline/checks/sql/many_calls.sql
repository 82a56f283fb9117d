-- Sheets with more calls for one game than a game has pitches.
-- Grain: one evaluator and game. Key: finding_id.
-- Reads: counted_call (temporary), meta.file.
-- Parameter: $most (calls).
WITH sheets AS (
    SELECT
        game_id,
        evaluator_id,
        min(row_id) AS row_id,
        arg_min(file_id, row_id) AS file_id,
        arg_min(line_no, row_id) AS line_no,
        CAST(sum(call_count) AS BIGINT) AS call_count
    FROM counted_call
    GROUP BY game_id, evaluator_id
    HAVING sum(call_count) > CAST($most AS BIGINT)
)

SELECT
    'many_calls/' || sheets.game_id || '/' || sheets.evaluator_id AS finding_id,
    'plate_calls' AS table_name,
    sheets.row_id,
    file.path,
    sheets.line_no,
    'game_id' AS column_name,
    sheets.game_id AS value,
    sheets.call_count || ' calls of game ' || sheets.game_id || ' by evaluator ' || sheets.evaluator_id
        || ': more than a game has pitches (' || $most || ')' AS message,
    'look whether two games share one id, or a sheet was handed in twice under other call ids' AS remedy,
    sheets.evaluator_id AS person_id
FROM sheets
JOIN meta.file AS file USING (file_id)
