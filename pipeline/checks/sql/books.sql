-- Files whose rows do not add up: rows that came in = rows accepted + set aside + replaced by mended ones, each once.
-- Grain: one file at fault; none is the right answer. Key: file_id.
-- Reads: accepted_row (temporary: file_id and line_no of every accepted row), meta.file, meta.reject,
-- meta.replaced.
WITH accepted AS (
    SELECT file_id, count(*) AS accepted FROM accepted_row GROUP BY file_id
),

replaced AS (
    SELECT file_id, count(*) AS replaced FROM meta.replaced GROUP BY file_id
),

quarantined AS (
    SELECT file_id, count(*) AS quarantined FROM meta.reject GROUP BY file_id
),

placed AS (
    SELECT file_id, line_no FROM accepted_row
    UNION ALL
    SELECT file_id, line_no FROM meta.reject
    UNION ALL
    SELECT file_id, line_no FROM meta.replaced
),

doubled AS (
    SELECT file_id, count(*) - count(DISTINCT line_no) AS twice FROM placed GROUP BY file_id
),

final AS (
    SELECT
        file.file_id,
        file.path || coalesce(' [' || file.sheet || ']', '') AS path,
        file.rows_in,
        coalesce(accepted.accepted, 0) AS accepted,
        coalesce(quarantined.quarantined, 0) AS quarantined,
        coalesce(replaced.replaced, 0) AS replaced,
        coalesce(doubled.twice, 0) AS twice
    FROM meta.file AS file
    LEFT JOIN accepted USING (file_id)
    LEFT JOIN quarantined USING (file_id)
    LEFT JOIN replaced USING (file_id)
    LEFT JOIN doubled USING (file_id)
)

SELECT file_id, path, rows_in, accepted, quarantined, replaced, twice
FROM final
WHERE rows_in <> accepted + quarantined + replaced OR twice <> 0
ORDER BY file_id NULLS LAST
