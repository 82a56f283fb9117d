-- Kinds of findings, those to mend first.
-- grain: one row per kind and severity
-- key: kind, severity
-- reads: published.pub_finding_kind
SELECT
    kind, severity, title, findings, files, evaluators, remedy
FROM published.pub_finding_kind
ORDER BY severity DESC, findings DESC, kind
