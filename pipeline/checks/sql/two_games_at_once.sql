-- Umpires who stand in two games at once: by their starts where the slate tells them, else by their sites, for nobody
-- works two places at one time. Two games of a day at one site are a double header, and nothing is said of them; nor
-- where neither starts nor sites are known.
-- Grain: one umpire and day. Key: finding_id.
-- Reads: checked.games, checked.plate_calls, checked.slate, meta.file. Parameter: $minutes (least time between starts).
WITH worked AS (
    SELECT plate_umpire_id AS umpire_id, game_id FROM checked.games
    UNION
    SELECT umpire_id, game_id FROM checked.plate_calls WHERE umpire_id IS NOT NULL
),

placed AS (
    SELECT
        worked.umpire_id,
        game.game_id,
        game.date,
        game.row_id,
        game.file_id,
        game.line_no,
        coalesce(game.site, slate.site) AS site,
        slate.start,
        60 * CAST(split_part(slate.start, ':', 1) AS INTEGER) + CAST(split_part(slate.start, ':', 2) AS INTEGER) AS minute
    FROM worked
    JOIN checked.games AS game USING (game_id)
    LEFT JOIN checked.slate AS slate ON slate.game_id = game.game_id AND slate.date = game.date
),

followed AS (
    SELECT
        *,
        least(minute - lag(minute) OVER day_of, lead(minute) OVER day_of - minute) AS minutes_apart
    FROM placed
    WINDOW day_of AS (PARTITION BY umpire_id, date ORDER BY minute NULLS LAST, row_id)
),

days AS (
    SELECT
        umpire_id,
        date,
        max(row_id) AS row_id,
        arg_max(file_id, row_id) AS file_id,
        arg_max(line_no, row_id) AS line_no,
        list(game_id || ' (' || start || ')' ORDER BY minute, row_id) FILTER (minutes_apart < $minutes) AS at_once,
        list(game_id || ' (' || site || ')' ORDER BY row_id) FILTER (site IS NOT NULL) AS sites,
        count(DISTINCT lower(trim(site))) > 1 AND bool_or(minute IS NULL AND site IS NOT NULL) AS is_elsewhere
    FROM followed
    GROUP BY umpire_id, date
    HAVING count(*) > 1
),

final AS (
    SELECT *, coalesce(at_once, sites) AS games, at_once IS NOT NULL AS by_start
    FROM days
    WHERE at_once IS NOT NULL OR is_elsewhere
)

SELECT
    'two_games_at_once/' || final.umpire_id || '/' || final.date AS finding_id,
    'games' AS table_name,
    final.row_id,
    file.path,
    final.line_no,
    'plate_umpire_id' AS column_name,
    final.umpire_id AS value,
    'umpire ' || final.umpire_id || CASE
        WHEN final.by_start THEN ' stands in games that start less than ' || $minutes || ' minutes apart on '
        ELSE ' stands in games at different sites, and no start is known of one at least, on '
    END || final.date || ': ' || array_to_string(list_slice(final.games, 1, 6), ', ') || CASE
        WHEN len(final.games) > 6 THEN ' and ' || (len(final.games) - 6) || ' more'
        ELSE ''
    END AS message,
    CASE
        WHEN final.by_start THEN 'mend the start, the date or the umpire of one of them'
        ELSE 'if all were worked, leave it; if not, mend the date, the site or the umpire of one of them'
    END AS remedy,
    NULL AS person_id
FROM final
JOIN meta.file AS file USING (file_id)
