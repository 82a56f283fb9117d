-- Amendments that put in place of a value the value that stands there already, on the sheet or by the amendment before.
-- Grain: one amendment. Key: finding_id. Numbers are compared as numbers.
-- Reads: checked.amendments, checked.plate_calls, meta.file.
WITH sheets AS (
    SELECT call_id, to_json(calls) AS facts
    FROM checked.plate_calls AS calls
    WHERE call_id IN (SELECT call_id FROM checked.amendments)
),

followed AS (
    SELECT
        amendment.*,
        coalesce(
            lag(amendment.value) OVER (
                PARTITION BY amendment.call_id, amendment."column" ORDER BY amendment.date, amendment.row_id
            ),
            json_extract_string(sheets.facts, '$."' || amendment."column" || '"')
        ) AS before
    FROM checked.amendments AS amendment
    JOIN sheets USING (call_id)
)

SELECT
    'amendment_without_change/' || followed.call_id || '/' || followed."column" || '/' || followed.date AS finding_id,
    'amendments' AS table_name,
    followed.row_id,
    file.path,
    followed.line_no,
    'value' AS column_name,
    followed.value,
    'the amendment of call ' || followed.call_id || ' writes ' || followed.value || ' under ' || followed."column"
        || ', which stands there already' AS message,
    'take it out, or write the value that was meant' AS remedy,
    followed.evaluator_id AS person_id,
    followed.call_id AS call_ids
FROM followed
JOIN meta.file AS file USING (file_id)
WHERE followed.value = followed.before
    OR TRY_CAST(followed.value AS DOUBLE) = TRY_CAST(followed.before AS DOUBLE)
