-- Every call with its verdict, and the name of what went wrong.
-- grain: one row per call
-- key: call_id
-- reads: facts.fct_call, rulings.ruling, scores.grade, scores.misruling_case, scores.misruling_name
WITH verdicts AS (
    SELECT
        call_id,
        CASE
            WHEN bool_or(verdict = 'wrong') THEN 'wrong'
            WHEN bool_or(verdict = 'edge') THEN 'edge'
            WHEN bool_or(verdict = 'right') THEN 'right'
            ELSE 'open'
        END AS verdict,
        max(p_right) AS p_right
    FROM scores.grade
    GROUP BY call_id
),
named AS (
    -- Of several wrong parts the one that names the others' cause comes first.
    SELECT c.call_id, n.misruling_code, n.consequence
    FROM scores.misruling_case AS c
    JOIN scores.misruling_name AS n USING (topic, component, ruled, right_value, stake)
    WHERE c.verdict = 'wrong'
    QUALIFY row_number() OVER (PARTITION BY c.call_id ORDER BY n.place, c.component) = 1
),
final AS (
    SELECT
        f.*,
        coalesce(v.verdict, 'not_graded') AS verdict,
        v.p_right,
        n.misruling_code,
        n.consequence,
        nullif(concat_ws('; ',
            replace(f.ruled_pitch, '_', ' '),
            'ball ' || replace(f.ruled_ball_status, '_', ' '),
            'batter ' || replace(f.ruled_batter, '_', ' '),
            'runners ' || replace(f.ruled_runners, '_', ' '),
            'runner out: ' || replace(nullif(f.ruled_runner_out, 'none'), '_', ' '),
            'choice: ' || nullif(f.ruled_choice, 'none'),
            replace(nullif(f.ruled_instruct, 'none'), '_', ' ')
        ), '') AS ruled_text,
        nullif(concat_ws('; ',
            replace(replace(nullif(r.pitch, ''), '|', ' or '), '_', ' '),
            'ball ' || replace(replace(nullif(r.ball_status, ''), '|', ' or '), '_', ' '),
            'batter ' || replace(replace(nullif(r.batter, ''), '|', ' or '), '_', ' '),
            'runners ' || replace(replace(nullif(r.runners, ''), '|', ' or '), '_', ' '),
            'runner out: ' || replace(replace(nullif(nullif(r.runner_out, ''), 'none'), '|', ' or '), '_', ' '),
            'choice: ' || replace(nullif(nullif(r.choice, ''), 'none'), '|', ' or '),
            replace(replace(nullif(nullif(r.instruct, ''), 'none'), '|', ' or '), '_', ' ')
        ), '') AS right_text
    FROM facts.fct_call AS f
    LEFT JOIN rulings.ruling AS r USING (call_id)
    LEFT JOIN verdicts AS v USING (call_id)
    LEFT JOIN named AS n USING (call_id)
)
SELECT
    call_id, umpire_id, evaluator_id, game_id, game_on, game_level, area, topic, stratum, verdict, p_right,
    misruling_code, consequence, ruled_text, right_text,
    grade AS evaluator_grade,
    CASE WHEN verdict IN ('right', 'wrong') AND grade IN ('right', 'wrong') THEN grade = verdict END
        AS evaluator_agrees
FROM final
ORDER BY call_id
