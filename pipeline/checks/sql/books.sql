-- Files whose rows do not add up: rows that came in = rows accepted + set aside + replaced by mended ones, each once.
-- Grain: one file at fault; none is the right answer. Key: file_id.
-- Reads: placed_row (temporary: place, file_id and line_no of every row that is accepted, set aside or replaced), meta.file.
-- Parameter: $is_once (whether it is known already that no line stands twice).
WITH placed AS (
    SELECT
        file_id,
        count(*) FILTER (WHERE place = 'accepted') AS accepted,
        count(*) FILTER (WHERE place = 'quarantined') AS quarantined,
        count(*) FILTER (WHERE place = 'replaced') AS replaced
    FROM placed_row
    GROUP BY file_id
),

doubled AS (
    SELECT file_id, count(*) - count(DISTINCT line_no) AS twice FROM placed_row WHERE NOT $is_once GROUP BY file_id
),

final AS (
    SELECT
        file.file_id,
        file.path || coalesce(' [' || file.sheet || ']', '') AS path,
        file.rows_in,
        coalesce(placed.accepted, 0) AS accepted,
        coalesce(placed.quarantined, 0) AS quarantined,
        coalesce(placed.replaced, 0) AS replaced,
        coalesce(doubled.twice, 0) AS twice
    FROM meta.file AS file
    LEFT JOIN placed USING (file_id)
    LEFT JOIN doubled USING (file_id)
)

SELECT file_id, path, rows_in, accepted, quarantined, replaced, twice
FROM final
WHERE rows_in <> accepted + quarantined + replaced OR twice <> 0
ORDER BY file_id NULLS LAST
