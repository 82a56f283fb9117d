-- Values that were amended after the sheets came in, beside what the sheet says.
-- grain: one row per accepted amendment
-- key: path, sheet, line_no
-- reads: checked.amendments, checked.plate_calls, meta.file
WITH sheet_value AS (
    UNPIVOT (
        SELECT call_id, CAST(COLUMNS(* EXCLUDE (call_id)) AS VARCHAR)
        FROM checked.plate_calls
        WHERE call_id IN (SELECT call_id FROM checked.amendments)
    ) ON COLUMNS(* EXCLUDE (call_id)) INTO NAME column_name VALUE sheet_value
)
SELECT
    a.call_id, a.evaluator_id, a.date AS amended_on, a."column" AS column_name,
    s.sheet_value, a.value, a.reason, f.path, f.sheet, a.line_no
FROM checked.amendments AS a
LEFT JOIN sheet_value AS s ON s.call_id = a.call_id AND s.column_name = a."column"
JOIN meta.file AS f ON f.file_id = a.file_id
ORDER BY a.date, f.path, f.sheet NULLS FIRST, a.line_no
