-- Every source row that was set aside, with reason and remedy.
-- grain: one row per source row set aside
-- key: path, sheet, line_no
-- reads: meta.reject, meta.file
SELECT
    r.path, f.sheet, r.line_no, r.table_name, r.column_name, r.value, r.reason, r.remedy, r.raw_text, r.stage
FROM meta.reject AS r
LEFT JOIN meta.file AS f USING (file_id)
ORDER BY r.path, f.sheet NULLS FIRST, r.line_no NULLS FIRST
