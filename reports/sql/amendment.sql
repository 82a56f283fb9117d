-- Amendments, in the order of their days.
-- grain: one row per accepted amendment
-- key: path, sheet, line_no
-- reads: published.pub_amendment
SELECT
    call_id, evaluator_id, amended_on, column_name, sheet_value, value, reason, path, sheet, line_no
FROM published.pub_amendment
ORDER BY amended_on, path, sheet NULLS FIRST, line_no
