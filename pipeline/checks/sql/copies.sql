-- Rows that are exact copies of an earlier row of the same table, as rejects.
-- Grain: one copy. Key: file_id, line_no.
-- Reads: copy_of and source_row (temporary, of one table), meta.file. Parameters: $table_name, $remedy.
WITH placed AS (
    SELECT
        source_row.*,
        file.path,
        file.path || coalesce(' [' || file.sheet || ']', '') AS place
    FROM source_row
    JOIN meta.file AS file USING (file_id)
)

SELECT
    copy.file_id,
    copy.path,
    $table_name AS table_name,
    copy.line_no,
    NULL AS column_name,
    NULL AS value,
    'exact copy of line ' || first_row.line_no || ' of ' || first_row.place AS reason,
    $remedy AS remedy,
    copy.raw_text,
    'check' AS stage
FROM copy_of
JOIN placed AS copy ON copy.row_id = copy_of.row_id
JOIN placed AS first_row ON first_row.row_id = copy_of.first_id
ORDER BY copy.file_id NULLS LAST, copy.line_no NULLS LAST
