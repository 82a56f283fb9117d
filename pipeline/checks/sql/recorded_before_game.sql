-- Calls that were written down before the day of their game: one of the two dates is a slip.
-- Grain: one evaluator, game and day of entry. Key: finding_id.
-- Reads: counted_call (temporary), checked.games, meta.file.
WITH early AS (
    SELECT
        calls.evaluator_id,
        calls.game_id,
        calls.recorded_on,
        game.date AS game_on,
        min(calls.row_id) AS row_id,
        arg_min(calls.file_id, calls.row_id) AS file_id,
        arg_min(calls.line_no, calls.row_id) AS line_no,
        CAST(sum(calls.call_count) AS BIGINT) AS call_count
    FROM counted_call AS calls
    JOIN checked.games AS game USING (game_id)
    WHERE calls.recorded_on < game.date
    GROUP BY calls.evaluator_id, calls.game_id, calls.recorded_on, game.date
)

SELECT
    'recorded_before_game/' || early.game_id || '/' || early.evaluator_id || '/' || early.recorded_on AS finding_id,
    'plate_calls' AS table_name,
    early.row_id,
    file.path,
    early.line_no,
    'recorded_on' AS column_name,
    CAST(early.recorded_on AS VARCHAR) AS value,
    early.call_count || CASE WHEN early.call_count = 1 THEN ' call' ELSE ' calls' END || ' of game ' || early.game_id
        || ' by evaluator ' || early.evaluator_id || ' were written down on ' || early.recorded_on
        || ', before the game of ' || early.game_on AS message,
    'mend the day of entry, or the date of the game' AS remedy,
    early.evaluator_id AS person_id
FROM early
JOIN meta.file AS file USING (file_id)
