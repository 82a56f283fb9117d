-- Quiz answers that name an option which the item does not have: they count as wrong, and are likely slips.
-- Grain: one response. Key: finding_id.
-- Reads: checked.quiz_responses, checked.quiz_items, meta.file.
SELECT
    'answer_without_option/' || response.quiz_id || '/' || response.umpire_id || '/' || response.item_id
        AS finding_id,
    'quiz_responses' AS table_name,
    response.row_id,
    file.path,
    response.line_no,
    'answer' AS column_name,
    response.answer AS value,
    'the answer ' || response.answer || ' names an option that item ' || response.item_id || ' does not have'
        AS message,
    'look at the answer sheet again, or fill in the option of the item' AS remedy,
    NULL AS person_id
FROM checked.quiz_responses AS response
JOIN checked.quiz_items AS item USING (item_id)
JOIN meta.file AS file ON file.file_id = response.file_id
WHERE response.answer IS NOT NULL
    AND CASE response.answer
        WHEN 'a' THEN item.option_a
        WHEN 'b' THEN item.option_b
        WHEN 'c' THEN item.option_c
        WHEN 'd' THEN item.option_d
        WHEN 'e' THEN item.option_e
        WHEN 'f' THEN item.option_f
    END IS NULL
