-- What is worth a look but takes no row out: about the sheets, and about grades held against the rules.
-- grain: one row per finding
-- key: finding_id
-- reads: meta.finding, meta.ruling_finding
WITH final AS (
    SELECT * FROM meta.finding
    UNION ALL BY NAME
    SELECT * FROM meta.ruling_finding
)
SELECT
    finding_id, kind, severity, table_name, path, line_no, column_name, value, message, remedy,
    person_id AS evaluator_id
FROM final
ORDER BY finding_id
