-- Failures of checks of severity `warn`, on rows that are accepted all the same.
-- Grain: one row and check. Key: finding_id.
-- Reads: failure, failure_word and source_row (temporary, of one table), meta.file. Parameter: $table_name.
SELECT
    'declared/' || failure.check_id || '/' || file.path || coalesce('#' || file.sheet, '') || '/'
        || source_row.line_no AS finding_id,
    'declared' AS kind,
    'warn' AS severity,
    $table_name AS table_name,
    source_row.row_id,
    file.path,
    source_row.line_no,
    failure.column_name,
    failure.value,
    failure_word.reason AS message,
    failure_word.remedy,
    source_row.person_id
FROM failure
JOIN failure_word USING (check_id, subject)
JOIN source_row USING (row_id)
JOIN meta.file AS file USING (file_id)
WHERE failure.severity = 'warn'
    AND failure.row_id NOT IN (SELECT row_id FROM failure WHERE severity = 'reject')
ORDER BY file.file_id NULLS LAST, source_row.line_no NULLS LAST, failure.place NULLS LAST
