-- The first findings of each kind, those to mend first: what the page has room for.
-- grain: one row per finding
-- key: finding_id
-- reads: published.pub_finding
SELECT
    finding_id, kind, severity, path, line_no, message, remedy, call_ids, rule_ids, evaluator_id
FROM published.pub_finding
QUALIFY row_number() OVER (
    PARTITION BY kind, severity ORDER BY path NULLS FIRST, line_no NULLS FIRST, finding_id
) <= 20
ORDER BY severity DESC, kind, path NULLS FIRST, line_no NULLS FIRST, finding_id
