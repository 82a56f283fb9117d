-- Findings by kind: how many, on how many sheets, what was asked, and what to do.
-- grain: one row per kind and severity of finding
-- key: kind, severity
-- reads: meta.finding, meta.ruling_finding, meta.check_result
WITH found AS (
    SELECT kind, severity, path, person_id, remedy FROM meta.finding
    UNION ALL
    SELECT kind, severity, path, person_id, remedy FROM meta.ruling_finding
),
counted AS (
    SELECT
        kind, severity,
        count(*) AS findings,
        count(DISTINCT path) AS files,
        count(DISTINCT person_id) AS evaluators
    FROM found
    GROUP BY kind, severity
),
advised AS (
    SELECT kind, severity, remedy
    FROM found
    WHERE remedy IS NOT NULL
    GROUP BY kind, severity, remedy
    QUALIFY row_number() OVER (PARTITION BY kind, severity ORDER BY count(*) DESC, remedy) = 1
),
asked AS (
    -- A check of single rows that only warns has its column in its name; such findings carry the kind of the check.
    SELECT kind, min(title) AS title
    FROM (
        SELECT split_part(check_id, '.', 2) AS kind, title FROM meta.check_result WHERE kind = 'across'
    )
    GROUP BY kind
)
SELECT
    counted.kind, counted.severity, asked.title, counted.findings, counted.files, counted.evaluators, advised.remedy
FROM counted
LEFT JOIN advised USING (kind, severity)
LEFT JOIN asked USING (kind)
ORDER BY severity DESC, findings DESC, kind
