-- What is worth a look but takes no row out: about the sheets, and about grades held against the rules.
-- grain: one row per finding
-- key: finding_id
-- reads: meta.finding, meta.ruling_finding, checked.plate_calls
WITH found AS (
    SELECT * FROM meta.finding
    UNION ALL BY NAME
    SELECT * FROM meta.ruling_finding
),

final AS (
    SELECT found.*, calls.call_id
    FROM found
    LEFT JOIN checked.plate_calls AS calls
        ON found.table_name = 'plate_calls' AND calls.row_id = found.row_id
)

SELECT
    finding_id, kind, severity, table_name, path, line_no, column_name, value, message, remedy,
    coalesce(call_ids, call_id) AS call_ids,
    rule_ids,
    person_id AS evaluator_id
FROM final
ORDER BY finding_id
