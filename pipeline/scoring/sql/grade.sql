-- Every part of a call that the umpire ruled on and the rules answer, right or wrong.
-- grain: one row per call and component that can be graded
-- key: call_id, component
-- reads: facts.fct_call, rulings.ruling
-- parameters: $edge_low, $edge_high (the band of probability in which a measured pitch decides nothing)
WITH calls AS (
    SELECT
        f.call_id, f.umpire_id, f.evaluator_id, f.game_id, f.game_on, f.area, f.topic, f.stratum,
        -- A measured location decides only where the rules decided by location: a ball or a strike on a pitch that
        -- did not bounce (one that did is a ball wherever it crossed). The probability is that of the rectangle, the
        -- ruling that of the zone with rounded corners; near a corner both say that the pitch cannot be decided.
        CASE
            WHEN f.topic IN ('pitch', 'third_strike') AND coalesce(f.swing, 'none') NOT IN ('full', 'bunt')
                AND coalesce(f.bounced, 'no') = 'no' AND r.pitch IN ('strike', 'ball')
                THEN f.p_strike
        END AS p_strike,
        unnest([
            {'component': 'pitch', 'ruled': f.ruled_pitch, 'right_value': r.pitch},
            {'component': 'ball_status', 'ruled': f.ruled_ball_status, 'right_value': r.ball_status},
            {'component': 'batter', 'ruled': f.ruled_batter, 'right_value': r.batter},
            {'component': 'runners', 'ruled': f.ruled_runners, 'right_value': r.runners},
            {'component': 'runner_out', 'ruled': f.ruled_runner_out, 'right_value': r.runner_out},
            {'component': 'choice', 'ruled': f.ruled_choice, 'right_value': r.choice},
            {'component': 'instruct', 'ruled': f.ruled_instruct, 'right_value': r.instruct}
        ]) AS part
    FROM facts.fct_call AS f
    JOIN rulings.ruling AS r USING (call_id)
    WHERE r.state <> 'contradiction'
),
parts AS (
    SELECT
        * EXCLUDE (part),
        part.component AS component,
        part.ruled AS ruled,
        part.right_value AS right_value,
        string_split(part.right_value, '|') AS options
    FROM calls
    -- Where no pitch is called the word noted for it is not graded.
    WHERE part.ruled <> '' AND part.right_value NOT IN ('', 'none_called')
),
measured AS (
    SELECT
        *,
        CASE
            WHEN component = 'pitch' AND ruled = 'strike' THEN p_strike
            WHEN component = 'pitch' AND ruled = 'ball' THEN 1 - p_strike
        END AS p_right
    FROM parts
),
graded AS (
    SELECT
        *,
        CASE
            WHEN p_right > $edge_low AND p_right < $edge_high THEN 'edge'
            WHEN p_right IS NOT NULL THEN CASE WHEN p_right >= $edge_high THEN 'right' ELSE 'wrong' END
            WHEN list_contains(options, ruled) THEN CASE WHEN len(options) = 1 THEN 'right' ELSE 'open' END
            WHEN list_contains(options, 'none_called') THEN 'open'
            ELSE 'wrong'
        END AS own_verdict
    FROM measured
),
whole AS (
    SELECT
        *,
        bool_or(component = 'pitch' AND own_verdict = 'edge' AND ruled <> right_value)
            OVER (PARTITION BY call_id) AS on_other_side
    FROM graded
),
final AS (
    SELECT
        *,
        -- What follows from ball or strike cannot be wrong where ball or strike cannot be decided.
        CASE WHEN on_other_side AND own_verdict = 'wrong' THEN 'edge' ELSE own_verdict END AS verdict
    FROM whole
)
SELECT
    call_id, component, ruled, right_value, verdict, p_right, area, topic, stratum, umpire_id, evaluator_id, game_id,
    game_on
FROM final
ORDER BY call_id, component
