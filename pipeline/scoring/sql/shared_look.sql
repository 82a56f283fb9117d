-- Pitches that two evaluators or more wrote down, with what each sheet comes to.
-- grain: one row per pitch, moment and evaluator
-- key: look, evaluator_id
-- reads: checked.plate_calls, scores.call_grade
WITH looks AS (
    SELECT
        c.game_id || '/' || c.pitch_no || '/' || coalesce(c.moment, 'pitch') AS look,
        c.evaluator_id,
        g.verdict,
        nullif(c.grade, '') AS grade
    FROM checked.plate_calls AS c
    JOIN scores.call_grade AS g USING (call_id)
    WHERE c.pitch_no IS NOT NULL
    -- Where an evaluator wrote one pitch down twice, the first row counts.
    QUALIFY row_number() OVER (PARTITION BY look, c.evaluator_id ORDER BY c.call_id) = 1
)
SELECT look, evaluator_id, verdict, grade
FROM looks
QUALIFY count(*) OVER (PARTITION BY look) > 1
ORDER BY look, evaluator_id
