-- Calls with a part of the umpire's ruling that their rulings exclude, and the span of days whose rules hold.
-- grain: one row per such call
-- key: call_id
-- reads: facts.fct_call, rulings.ruling, rulings.pattern_span
WITH parts AS (
    SELECT
        f.call_id, f.rule_code, f.game_on,
        unnest([
            {'ruled': f.ruled_pitch, 'possible': r.pitch},
            {'ruled': f.ruled_ball_status, 'possible': r.ball_status},
            {'ruled': f.ruled_batter, 'possible': r.batter},
            {'ruled': f.ruled_runners, 'possible': r.runners},
            {'ruled': f.ruled_runner_out, 'possible': r.runner_out},
            {'ruled': f.ruled_choice, 'possible': r.choice},
            {'ruled': f.ruled_instruct, 'possible': r.instruct}
        ]) AS part
    FROM facts.fct_call AS f
    JOIN rulings.ruling AS r USING (call_id)
    WHERE r.state <> 'contradiction'
),
wrong AS (
    SELECT DISTINCT call_id, rule_code, game_on
    FROM parts
    WHERE part.ruled <> '' AND part.possible <> ''
        AND NOT list_contains(string_split(part.possible, '|'), part.ruled)
        AND NOT list_contains(string_split(part.possible, '|'), 'none_called')
),
final AS (
    SELECT w.call_id, w.rule_code, max(s.first_day) AS first_day
    FROM wrong AS w
    JOIN rulings.pattern_span AS s ON s.first_day <= coalesce(w.game_on, DATE '0001-01-01')
    GROUP BY w.call_id, w.rule_code
)
SELECT call_id, rule_code, first_day
FROM final
ORDER BY call_id
