-- Evaluators whose every check of how the plate was worked says the same in all its answers: nothing was looked at.
-- Grain: one evaluator. Key: finding_id. Checks with fewer than three answers are not counted.
-- Reads: checked.positioning, checked.evaluators, meta.file. Parameter: $checks (least number of checks).
WITH answered AS (
    SELECT
        evaluator_id,
        row(in_slot, head_height, drift, view_blocked, adjusted, set_at_release, gap_defended) AS answers,
        concat_ws(
            ', ', 'in_slot ' || in_slot, 'head_height ' || head_height, 'drift ' || drift,
            'view_blocked ' || view_blocked, 'adjusted ' || adjusted, 'set_at_release ' || set_at_release,
            'gap_defended ' || gap_defended
        ) AS words
    FROM checked.positioning
),

straight AS (
    SELECT evaluator_id, min(words) AS words, count(*) AS check_count
    FROM answered
    WHERE len(string_split(words, ', ')) >= 3
    GROUP BY evaluator_id
    HAVING count(*) >= $checks AND count(DISTINCT answers) = 1
)

SELECT
    'straight_checks/' || evaluator.evaluator_id AS finding_id,
    'evaluators' AS table_name,
    evaluator.row_id,
    file.path,
    evaluator.line_no,
    'in_slot' AS column_name,
    straight.words AS value,
    'evaluator ' || evaluator.evaluator_id || ' wrote the same down in each of ' || straight.check_count
        || ' checks of how the plate was worked: ' || straight.words AS message,
    'talk it over; checks that never differ say nothing of anybody' AS remedy,
    evaluator.evaluator_id AS person_id
FROM straight
JOIN checked.evaluators AS evaluator USING (evaluator_id)
JOIN meta.file AS file USING (file_id)
