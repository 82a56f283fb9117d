-- Every accepted call with its ruling, the reason, and the line of the sheet it came from.
-- grain: one row per accepted call
-- key: call_id
-- reads: facts.fct_call, scores.call_grade, scores.misruling, scores.pattern_call, rulings.ruling, rulings.other_code,
--   rulings.pattern_text, meta.file
WITH own AS (
    SELECT call_id, pitch, ball_status, batter, runners, runner_out, choice, instruct FROM rulings.ruling
),
other AS (
    -- Only the parts that differ from the ruling under the call's own code.
    SELECT
        o.call_id,
        o.rule_code,
        concat_ws(', ',
            CASE WHEN o.pitch IS DISTINCT FROM own.pitch
                THEN 'pitch ' || coalesce(nullif(o.pitch, ''), 'not called') END,
            CASE WHEN o.ball_status IS DISTINCT FROM own.ball_status THEN 'ball ' || o.ball_status END,
            CASE WHEN o.batter IS DISTINCT FROM own.batter THEN 'batter ' || o.batter END,
            CASE WHEN o.runners IS DISTINCT FROM own.runners THEN 'runners ' || o.runners END,
            CASE WHEN o.runner_out IS DISTINCT FROM own.runner_out THEN 'runner out: ' || o.runner_out END,
            CASE WHEN o.choice IS DISTINCT FROM own.choice THEN 'choice: ' || o.choice END,
            CASE WHEN o.instruct IS DISTINCT FROM own.instruct THEN 'instruct: ' || o.instruct END
        ) AS parts
    FROM rulings.other_code AS o
    JOIN own USING (call_id)
),
noted AS (
    SELECT
        call_id,
        string_agg(
            rule_code || ': ' || replace(replace(parts, '_', ' '), '|', ' or '), '; ' ORDER BY rule_code
        ) AS other_code_note
    FROM other
    GROUP BY call_id
),
final AS (
    SELECT
        f.*,
        g.verdict, g.p_right, g.ruled_text, g.right_text, g.misruling_code, g.consequence, g.evaluator_agrees,
        m.title AS misruling_title,
        p.pattern_id, t.title AS pattern_title,
        r.because, r.needs, r.state, r.rule_ids, r.rule_refs, r.confidence,
        r.pitch AS settled_pitch,
        n.other_code_note,
        file.path, file.sheet
    FROM facts.fct_call AS f
    JOIN scores.call_grade AS g USING (call_id)
    LEFT JOIN scores.misruling AS m USING (misruling_code)
    LEFT JOIN scores.pattern_call AS p ON p.call_id = f.call_id
    LEFT JOIN rulings.pattern_text AS t ON t.pattern_id = p.pattern_id
    LEFT JOIN rulings.ruling AS r USING (call_id)
    LEFT JOIN noted AS n USING (call_id)
    JOIN meta.file AS file ON file.file_id = f.file_id
)
SELECT
    call_id, game_id, game_on, game_level, umpire_id, evaluator_id,
    CAST(inning AS BIGINT) AS inning,
    CAST(outs AS BIGINT) AS outs,
    CAST(balls AS BIGINT) AS balls,
    CAST(strikes AS BIGINT) AS strikes,
    area, topic, verdict,
    round(p_right, 6) AS p_right,
    ruled_text, right_text, misruling_code, misruling_title, consequence, pattern_id, pattern_title,
    nullif(because, '') AS because,
    nullif(needs, '') AS needs,
    state,
    nullif(rule_ids, '') AS rule_ids,
    nullif(rule_refs, '') AS rule_refs,
    nullif(confidence, '') AS confidence,
    grade AS evaluator_grade,
    evaluator_agrees, note, path, sheet, line_no, ball_x_in, ball_z_in, zone_low_in, zone_high_in,
    round(zone_margin_in, 6) AS zone_margin_in,
    batter_side, ruled_pitch,
    CASE WHEN state = 'settled' AND settled_pitch NOT IN ('', 'none_called') AND NOT contains(settled_pitch, '|')
        THEN settled_pitch END AS right_pitch,
    other_code_note
FROM final
ORDER BY call_id
