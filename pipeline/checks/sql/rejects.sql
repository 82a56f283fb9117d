-- Rows that fail a check of severity `reject`: the first failed check, in declared order, gives column and
-- value; the reasons of all are joined.
-- Grain: one row that is set aside. Key: file_id, line_no.
-- Reads: failure, failure_word and source_row (temporary, of one table), meta.file. Parameter: $table_name.
SELECT
    source_row.file_id,
    file.path,
    $table_name AS table_name,
    source_row.line_no,
    arg_min(failure.column_name, failure.place) AS column_name,
    -- A blank is the value of a missing cell; arg_min alone would pass over it to a later check's value.
    arg_min({'value': failure.value}, failure.place).value AS value,
    -- The column stands beside the reason already, unless there are several.
    CASE
        WHEN count(*) = 1 THEN any_value(failure_word.reason)
        ELSE string_agg(failure.column_name || ': ' || failure_word.reason, '; ' ORDER BY failure.place NULLS LAST)
    END AS reason,
    CASE
        WHEN count(*) = 1 THEN any_value(failure_word.remedy)
        ELSE string_agg(failure.column_name || ': ' || failure_word.remedy, '; ' ORDER BY failure.place NULLS LAST)
    END AS remedy,
    any_value(source_row.raw_text) AS raw_text,
    'check' AS stage
FROM failure
JOIN failure_word USING (check_id, subject)
JOIN source_row USING (row_id)
JOIN meta.file AS file USING (file_id)
WHERE failure.severity = 'reject'
GROUP BY source_row.file_id, file.path, source_row.line_no
ORDER BY source_row.file_id NULLS LAST, source_row.line_no NULLS LAST
