-- Evaluators whose every score is the same part of its scale, over many scores: the scores carry no information.
-- Grain: one evaluator. Key: finding_id.
-- Reads: checked.ratings, checked.evaluators, meta.file. Parameter: $scores (least number of scores).
WITH scored AS (
    SELECT
        evaluator_id,
        min(score) AS score,
        min(scale_max) AS scale_max,
        count(*) AS score_count
    FROM checked.ratings
    GROUP BY evaluator_id
    HAVING count(DISTINCT score / scale_max) = 1 AND count(*) >= $scores
)

SELECT
    'straight_scores/' || evaluator.evaluator_id AS finding_id,
    'evaluators' AS table_name,
    evaluator.row_id,
    file.path,
    evaluator.line_no,
    'score' AS column_name,
    format('{:g}', scored.score) AS value,
    'evaluator ' || evaluator.evaluator_id || ' gave the same score, ' || format('{:g}', scored.score) || ' of '
        || format('{:g}', scored.scale_max) || ', ' || scored.score_count || ' times out of ' || scored.score_count
        AS message,
    'talk it over; scores that never differ say nothing of anybody' AS remedy,
    evaluator.evaluator_id AS person_id
FROM scored
JOIN checked.evaluators AS evaluator USING (evaluator_id)
JOIN meta.file AS file USING (file_id)
