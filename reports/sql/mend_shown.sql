-- The first mended rows, those that were not taken before the others: what the page has room for.
-- grain: one row per mended row
-- key: path, sheet, line_no
-- reads: published.pub_mend
SELECT
    path, sheet, line_no, table_name, state, changes, raw_text, original_path, original_sheet, original_line_no, original_text,
    original_reason, message
FROM published.pub_mend
ORDER BY message IS NULL, path, sheet NULLS FIRST, line_no
LIMIT 60
