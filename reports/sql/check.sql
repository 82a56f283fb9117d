-- Checks, in the order of the pages.
-- grain: one row per check that was made, with the count by SQL and by great-expectations
-- key: check_id
-- reads: published.pub_check
SELECT
    check_id, table_name, kind, columns, severity, title, rows_checked, failed, gx_failed, gx_scope,
    agrees
FROM published.pub_check
ORDER BY table_name, check_id
