-- How many different lines the placed rows have. The lines of all files are numbered through, file after file.
-- Grain: one row.
-- Reads: placed_row (temporary: place, file_id and line_no of every row that is accepted, set aside or replaced).
-- Parameter: $last (a number that is at least that of the last line).
WITH files AS (
    SELECT file_id, max(line_no) + 1 AS line_count FROM placed_row GROUP BY file_id
),

starts AS (
    SELECT file_id, CAST(sum(line_count) OVER (ORDER BY file_id NULLS LAST) - line_count AS BIGINT) AS start FROM files
)

SELECT bit_count(bitstring_agg(starts.start + placed_row.line_no, 0, $last)) AS line_count
FROM placed_row
JOIN starts USING (file_id)
