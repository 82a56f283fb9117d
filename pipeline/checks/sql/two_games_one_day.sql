-- Umpires who stand as plate umpire of, or made a ruling in, more than one game on the same day: possible, and
-- often a slip. Sheets carry no hour, so that two games at once cannot be told from two in a row.
-- Grain: one umpire and day. Key: finding_id.
-- Reads: checked.games, checked.plate_calls, meta.file.
WITH worked AS (
    SELECT plate_umpire_id, game_id, date, row_id, file_id, line_no FROM checked.games
    UNION
    SELECT calls.umpire_id, game_id, game.date, game.row_id, game.file_id, game.line_no
    FROM checked.plate_calls AS calls
    JOIN checked.games AS game USING (game_id)
    WHERE calls.umpire_id IS NOT NULL
),

days AS (
    SELECT
        plate_umpire_id,
        date,
        max(row_id) AS row_id,
        arg_max(file_id, row_id) AS file_id,
        arg_max(line_no, row_id) AS line_no,
        string_agg(game_id, ', ' ORDER BY row_id NULLS LAST) AS game_ids,
        count(*) AS game_count
    FROM worked
    GROUP BY plate_umpire_id, date
    HAVING count(*) > 1
)

SELECT
    'two_games_one_day/' || days.plate_umpire_id || '/' || days.date AS finding_id,
    'games' AS table_name,
    days.row_id,
    file.path,
    days.line_no,
    'plate_umpire_id' AS column_name,
    days.plate_umpire_id AS value,
    'umpire ' || days.plate_umpire_id || ' worked the plate in ' || days.game_count || ' games on ' || days.date
        || ': ' || days.game_ids AS message,
    'if that is not so, mend the date or the plate umpire of one of them' AS remedy,
    NULL AS person_id
FROM days
JOIN meta.file AS file USING (file_id)
