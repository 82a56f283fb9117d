-- Rows set aside, in the order of the pages.
-- grain: one row per source row that was set aside, with reason and remedy
-- key: path, sheet, line_no
-- reads: published.pub_reject
SELECT
    path, sheet, line_no, table_name, column_name, value, reason, remedy, raw_text, stage
FROM published.pub_reject
ORDER BY path, sheet NULLS FIRST, line_no NULLS FIRST
