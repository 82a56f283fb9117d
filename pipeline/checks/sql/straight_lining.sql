-- Evaluators whose every grade is the same, over many calls: the grades carry no information.
-- Grain: one evaluator. Key: finding_id. Calls without a grade are not counted.
-- Reads: counted_call (temporary), checked.evaluators, meta.file. Parameter: $calls (least number of graded calls).
WITH graded AS (
    SELECT evaluator_id, min(grade) AS grade, CAST(sum(call_count) AS BIGINT) AS call_count
    FROM counted_call
    WHERE grade IS NOT NULL
    GROUP BY evaluator_id
    HAVING count(DISTINCT grade) = 1 AND sum(call_count) >= $calls
)

SELECT
    'straight_lining/' || evaluator.evaluator_id AS finding_id,
    'evaluators' AS table_name,
    evaluator.row_id,
    file.path,
    evaluator.line_no,
    'grade' AS column_name,
    graded.grade AS value,
    'evaluator ' || evaluator.evaluator_id || ' gave the same grade, ' || graded.grade || ', to each of '
        || graded.call_count || ' calls' AS message,
    'talk it over; the facts on these sheets are used, the grades say nothing' AS remedy,
    evaluator.evaluator_id AS person_id
FROM graded
JOIN checked.evaluators AS evaluator USING (evaluator_id)
JOIN meta.file AS file USING (file_id)
