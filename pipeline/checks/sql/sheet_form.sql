-- What loading noted about the form of a sheet: its encoding, its delimiter, headings, copies of whole files.
-- Grain: one remark on one sheet. Key: finding_id.
-- Reads: meta.file.
WITH remarks AS (
    SELECT file_id, unnest(string_split(notes, '; ')) AS remark FROM meta.file WHERE notes IS NOT NULL
    UNION ALL
    SELECT
        file_id,
        'fields are parted by ' || CASE delimiter
            WHEN ';' THEN 'semicolons' WHEN chr(9) THEN 'tabs' WHEN '|' THEN 'bars' ELSE delimiter
        END
    FROM meta.file
    WHERE delimiter <> ','
    UNION ALL
    SELECT file_id, 'the text is encoded as ' || encoding
    FROM meta.file
    -- Loading itself notes the one encoding that had to be supposed.
    WHERE encoding LIKE 'utf-16%'
)

SELECT DISTINCT
    'sheet_form/' || file.path || coalesce('#' || file.sheet, '') || '/' || remarks.remark AS finding_id,
    file.table_name,
    NULL AS row_id,
    file.path,
    NULL AS line_no,
    NULL AS column_name,
    file.sheet AS value,
    remarks.remark AS message,
    'the sheet was read all the same; look whether it came out as meant' AS remedy,
    NULL AS person_id
FROM remarks
JOIN meta.file AS file USING (file_id)
