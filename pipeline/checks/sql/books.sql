-- Files whose rows do not add up: rows that came in = rows accepted + rows set aside, each set aside once.
-- Grain: one file at fault; none is the right answer. Key: file_id.
-- Reads: accepted_row (temporary: file_id and line_no of every accepted row), meta.file, meta.reject.
WITH accepted AS (
    SELECT file_id, count(*) AS accepted FROM accepted_row GROUP BY file_id
),

quarantined AS (
    SELECT
        file_id,
        count(*) AS quarantined,
        count(*) - count(DISTINCT line_no) AS twice
    FROM meta.reject
    GROUP BY file_id
),

final AS (
    SELECT
        file.file_id,
        file.path || coalesce(' [' || file.sheet || ']', '') AS path,
        file.rows_in,
        coalesce(accepted.accepted, 0) AS accepted,
        coalesce(quarantined.quarantined, 0) AS quarantined,
        coalesce(quarantined.twice, 0) AS twice
    FROM meta.file AS file
    LEFT JOIN accepted USING (file_id)
    LEFT JOIN quarantined USING (file_id)
)

SELECT file_id, path, rows_in, accepted, quarantined, twice
FROM final
WHERE rows_in <> accepted + quarantined OR twice <> 0
ORDER BY file_id NULLS LAST
