-- The trail of mended rows: what each stands for, what changed in it, and what became of it.
-- grain: one row per mended row that was put back
-- key: path, sheet, line_no
-- reads: meta.mend, mend_change
SELECT
    m.path, m.sheet, m.line_no, m.table_name, m.state, c.changes, m.raw_text, m.original_path, m.original_sheet,
    m.original_line_no, m.original_text, m.original_reason, m.message
FROM meta.mend AS m
LEFT JOIN mend_change AS c
    ON c.path = m.path AND c.sheet IS NOT DISTINCT FROM m.sheet AND c.line_no = m.line_no
ORDER BY m.path, m.sheet NULLS FIRST, m.line_no
