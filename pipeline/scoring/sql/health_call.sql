-- What each evaluator's sheets hold, counted for the health of the sheets.
-- grain: one row per evaluator of the roster with at least one call
-- key: evaluator_id
-- reads: checked.evaluators, scores.call_grade, rulings.ruling, facts.fct_call
-- parameter: $late_days (calls written down later than this many days after the game are late)
WITH calls AS (
    SELECT
        e.evaluator_id,
        c.call_id,
        c.verdict,
        c.evaluator_grade,
        c.evaluator_agrees,
        r.state,
        date_diff('day', f.game_on, f.recorded_on) AS days
    FROM checked.evaluators AS e
    JOIN scores.call_grade AS c USING (evaluator_id)
    JOIN facts.fct_call AS f USING (call_id)
    LEFT JOIN rulings.ruling AS r USING (call_id)
)
SELECT
    evaluator_id,
    count(*) AS calls,
    count(*) FILTER (state = 'contradiction') AS contradictions,
    array_to_string(
        list_slice(list(call_id ORDER BY call_id) FILTER (state = 'contradiction'), 1, 5), ';'
    ) AS contradiction_ids,
    count(evaluator_agrees) AS grades,
    count(*) FILTER (NOT evaluator_agrees) AS wrong_grades,
    count(evaluator_grade) AS graded,
    count(*) FILTER (evaluator_grade = 'right') AS graded_right,
    count(*) FILTER (verdict = 'wrong' AND evaluator_grade IN ('right', 'wrong')) AS wrong_rulings,
    count(*) FILTER (verdict = 'wrong' AND evaluator_grade = 'right') AS wrong_passed,
    array_to_string(
        list_slice(
            list(call_id ORDER BY call_id) FILTER (verdict = 'wrong' AND evaluator_grade = 'right'), 1, 5
        ), ';'
    ) AS wrong_passed_ids,
    -- A day of entry before the game is a slip, and told as one.
    count(days) FILTER (days >= 0) AS dated,
    median(days) FILTER (days >= 0) AS median_days,
    count(*) FILTER (days > CAST($late_days AS BIGINT)) AS late
FROM calls
GROUP BY evaluator_id
ORDER BY evaluator_id
