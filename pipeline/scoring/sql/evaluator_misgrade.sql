-- Grades that contradict the rules, with every other code under which the grade would stand.
-- grain: one row per contradicted grade
-- key: call_id
-- reads: scores.call_grade, rulings.ruling, rulings.other_code, facts.fct_call
WITH contradicted AS (
    SELECT c.call_id, c.evaluator_id, c.topic, c.evaluator_grade, c.verdict, r.rule_ids, r.because
    FROM scores.call_grade AS c
    JOIN rulings.ruling AS r USING (call_id)
    WHERE c.evaluator_agrees = false
),
other AS (
    SELECT
        o.call_id, o.rule_code,
        unnest([
            {'ruled': f.ruled_pitch, 'right_value': o.pitch},
            {'ruled': f.ruled_ball_status, 'right_value': o.ball_status},
            {'ruled': f.ruled_batter, 'right_value': o.batter},
            {'ruled': f.ruled_runners, 'right_value': o.runners},
            {'ruled': f.ruled_runner_out, 'right_value': o.runner_out},
            {'ruled': f.ruled_choice, 'right_value': o.choice},
            {'ruled': f.ruled_instruct, 'right_value': o.instruct}
        ]) AS part
    FROM rulings.other_code AS o
    JOIN facts.fct_call AS f USING (call_id)
),
other_verdict AS (
    SELECT
        call_id, rule_code,
        CASE
            WHEN bool_or(NOT list_contains(string_split(part.right_value, '|'), part.ruled)) THEN 'wrong'
            ELSE 'right'
        END AS verdict
    FROM other
    WHERE part.ruled <> '' AND part.right_value NOT IN ('', 'none_called')
        AND NOT (part.right_value LIKE '%none_called%')
    GROUP BY call_id, rule_code
)
SELECT
    c.call_id, c.evaluator_id, c.topic, c.rule_ids, c.evaluator_grade, c.verdict AS our_verdict, c.because,
    string_agg(v.rule_code, ';' ORDER BY v.rule_code) FILTER (v.verdict = c.evaluator_grade) AS other_codes
FROM contradicted AS c
LEFT JOIN other_verdict AS v USING (call_id)
GROUP BY ALL
ORDER BY c.evaluator_id, c.call_id
