-- Amendments of a day before the game of their call: one of the two dates is a slip.
-- Grain: one amendment. Key: finding_id.
-- Reads: checked.amendments, checked.plate_calls, checked.games, meta.file.
SELECT
    'amended_before_game/' || amendment.call_id || '/' || amendment."column" || '/' || amendment.date AS finding_id,
    'amendments' AS table_name,
    amendment.row_id,
    file.path,
    amendment.line_no,
    'date' AS column_name,
    CAST(amendment.date AS VARCHAR) AS value,
    'call ' || amendment.call_id || ' was amended on ' || amendment.date || ', before its game of ' || game.date
        AS message,
    'mend the date of the amendment, or that of the game' AS remedy,
    amendment.evaluator_id AS person_id,
    amendment.call_id AS call_ids
FROM checked.amendments AS amendment
JOIN checked.plate_calls AS calls USING (call_id)
JOIN checked.games AS game ON game.game_id = calls.game_id
JOIN meta.file AS file ON file.file_id = amendment.file_id
WHERE amendment.date < game.date
