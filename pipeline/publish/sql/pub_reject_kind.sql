-- Rows set aside by where they failed: sheet, column, reading or checking.
-- grain: one row per table, column and stage
-- key: table_name, column_name, stage
-- reads: meta.reject
WITH ranked AS (
    SELECT
        *,
        row_number() OVER (
            PARTITION BY table_name, column_name, stage ORDER BY path, line_no NULLS FIRST, reason
        ) AS place
    FROM meta.reject
)
SELECT
    table_name, column_name, stage,
    count(*) AS "rows",
    count(DISTINCT path) AS files,
    max(reason) FILTER (WHERE place = 1) AS reason,
    max(remedy) FILTER (WHERE place = 1) AS remedy
FROM ranked
GROUP BY table_name, column_name, stage
ORDER BY "rows" DESC, table_name NULLS FIRST, column_name NULLS FIRST, stage
