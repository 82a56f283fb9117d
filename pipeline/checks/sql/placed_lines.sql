-- How many rows are placed, how many lines the files have up to their last placed one, and whether each row names its
-- file and a line from 0 on.
-- Grain: one row.
-- Reads: placed_row (temporary: place, file_id and line_no of every row that is accepted, set aside or replaced).
WITH files AS (
    SELECT
        file_id,
        count(*) AS row_count,
        max(line_no) + 1 AS line_count,
        file_id IS NOT NULL AND count(line_no) = count(*) AND min(line_no) >= 0 AS is_filled
    FROM placed_row
    GROUP BY file_id
)

SELECT
    CAST(coalesce(sum(row_count), 0) AS BIGINT) AS row_count,
    CAST(coalesce(sum(line_count), 0) AS BIGINT) AS line_count,
    coalesce(bool_and(is_filled), TRUE) AS is_filled
FROM files
