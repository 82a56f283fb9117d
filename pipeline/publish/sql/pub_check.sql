-- Every check that was made, counted by SQL and by great-expectations.
-- grain: one row per check
-- key: check_id
-- reads: meta.check_result
SELECT
    check_id, table_name, kind, columns, severity, title, rows_checked, failed, gx_failed, gx_scope, agrees
FROM meta.check_result
ORDER BY check_id
