-- Rows set aside with what is needed to write them under their original headings.
-- grain: one row per source row set aside
-- key: file_id, line_no
-- reads: meta.reject, meta.file
SELECT
    r.file_id, r.path, f.sheet, f.table_name, f.sha256, f.encoding, f.delimiter, f.header_lines,
    r.line_no, r.column_name, r.value, r.reason, r.remedy, r.raw_text, r.stage
FROM meta.reject AS r
JOIN meta.file AS f USING (file_id)
ORDER BY r.file_id, r.line_no NULLS FIRST
