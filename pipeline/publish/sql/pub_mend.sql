-- The trail of mended rows: what each stands for, and what became of it.
-- grain: one row per mended row that was put back
-- key: path, sheet, line_no
-- reads: meta.mend
SELECT
    path, sheet, line_no, table_name, state, raw_text, original_path, original_sheet, original_line_no, original_text,
    original_reason, message
FROM meta.mend
ORDER BY path, sheet NULLS FIRST, line_no
