-- Findings, in the order of the pages.
-- grain: one row per thing worth a look that takes no row out of the results
-- key: finding_id
-- reads: published.pub_finding
SELECT
    finding_id, kind, severity, table_name, path, line_no, column_name, value, message, remedy,
    call_ids, rule_ids, evaluator_id
FROM published.pub_finding
ORDER BY kind, severity, path NULLS FIRST, line_no NULLS FIRST, finding_id
