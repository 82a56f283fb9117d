-- The first rows set aside, sheet by sheet: what the page has room for.
-- grain: one row per source row that was set aside
-- key: path, sheet, line_no
-- reads: published.pub_reject
SELECT
    path, sheet, line_no, table_name, column_name, value, reason, remedy, stage
FROM published.pub_reject
ORDER BY path, sheet NULLS FIRST, line_no NULLS FIRST
LIMIT 100
