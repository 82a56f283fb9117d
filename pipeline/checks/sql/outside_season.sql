-- Games whose day lies before the first or after the last day that the policy names (an open end passes all).
-- Grain: one game. Key: finding_id.
-- Reads: checked.games, meta.file. Parameters: $first_day, $last_day (dates or NULL).
SELECT
    'outside_season/' || game.game_id AS finding_id,
    'games' AS table_name,
    game.row_id,
    file.path,
    game.line_no,
    'date' AS column_name,
    CAST(game.date AS VARCHAR) AS value,
    'game ' || game.game_id || ' was played on ' || game.date || ', outside the season ('
        || coalesce(CAST($first_day AS VARCHAR), 'open') || ' to ' || coalesce(CAST($last_day AS VARCHAR), 'open')
        || ')' AS message,
    'mend the date, or the first_day and last_day of the policy' AS remedy,
    NULL AS person_id
FROM checked.games AS game
JOIN meta.file AS file USING (file_id)
WHERE game.date < CAST($first_day AS DATE) OR game.date > CAST($last_day AS DATE)
