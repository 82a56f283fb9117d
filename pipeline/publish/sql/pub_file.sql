-- The books of each sheet: rows in, accepted, set aside, replaced.
-- grain: one row per file, or sheet of a workbook
-- key: path, sheet
-- reads: meta.file (rows_replaced counts rows for which a mended row stands), meta.reject
WITH rejected AS (
    SELECT file_id, count(*) AS quarantined FROM meta.reject GROUP BY file_id
),
final AS (
    SELECT f.*, coalesce(r.quarantined, 0) AS quarantined
    FROM meta.file AS f
    LEFT JOIN rejected AS r USING (file_id)
)
SELECT
    path, sheet, table_name, sha256, encoding, delimiter, rows_in, rows_blank,
    -- That accepted rows are in checked.* one by one was proved when the books were balanced.
    rows_in - quarantined - rows_replaced AS accepted,
    quarantined,
    rows_replaced AS replaced,
    notes
FROM final
ORDER BY path, sheet NULLS FIRST
