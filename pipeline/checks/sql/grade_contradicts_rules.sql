-- Calls where the evaluator's grade and the rules part: a fact on the sheet or the grade is wrong.
-- Grain: one call. Key: finding_id.
-- Reads: facts.fct_call, rulings.ruling, meta.file. Parameter: $near_in (inches).
--
-- Each part of the ruling that was noted is held against the rules' value where that is settled (one value, none of
-- several joined by '|'). Taken pitches measured within $near_in of the zone's boundary are not held against anyone.
WITH noted AS (
    SELECT
        calls.call_id,
        calls.grade,
        unnest([
            {'place': 1, 'name': 'ruled_pitch', 'ruled': calls.ruled_pitch, 'due': ruling.pitch},
            {'place': 2, 'name': 'ruled_ball_status', 'ruled': calls.ruled_ball_status, 'due': ruling.ball_status},
            {'place': 3, 'name': 'ruled_batter', 'ruled': calls.ruled_batter, 'due': ruling.batter},
            {'place': 4, 'name': 'ruled_runners', 'ruled': calls.ruled_runners, 'due': ruling.runners},
            {'place': 5, 'name': 'ruled_runner_out', 'ruled': calls.ruled_runner_out, 'due': ruling.runner_out},
            {'place': 6, 'name': 'ruled_choice', 'ruled': calls.ruled_choice, 'due': ruling.choice},
            {'place': 7, 'name': 'ruled_instruct', 'ruled': calls.ruled_instruct, 'due': ruling.instruct}
        ]) AS part
    FROM facts.fct_call AS calls
    JOIN rulings.ruling AS ruling USING (call_id)
    WHERE calls.grade IN ('right', 'wrong')
        AND ruling.state IN ('settled', 'open')
        AND NOT coalesce(calls.topic = 'pitch' AND abs(calls.zone_margin_in) < $near_in, FALSE)
),

judged AS (
    SELECT
        call_id,
        grade,
        part.place,
        part.name,
        part.ruled,
        part.due,
        -- NULL where the rules leave the part open, or call no pitch at all.
        CASE
            WHEN part.due IS NULL OR part.due IN ('', 'none_called') OR contains(part.due, '|') THEN NULL
            ELSE part.ruled = part.due
        END AS is_right
    FROM noted
    WHERE part.ruled IS NOT NULL
),

final AS (
    SELECT
        call_id,
        grade,
        string_agg(name, ', ' ORDER BY place NULLS LAST) FILTER (WHERE NOT is_right) AS names,
        string_agg(name || ' ' || ruled || ', by the rules ' || due, '; ' ORDER BY place NULLS LAST)
            FILTER (WHERE NOT is_right) AS told,
        CASE
            WHEN bool_or(NOT is_right) THEN 'wrong'
            WHEN bool_and(coalesce(is_right, FALSE)) THEN 'right'
        END AS verdict
    FROM judged
    GROUP BY call_id, grade
)

SELECT
    'grade_contradicts_rules/' || final.call_id AS finding_id,
    'plate_calls' AS table_name,
    calls.row_id,
    file.path,
    calls.line_no,
    coalesce(final.names, 'grade') AS column_name,
    final.grade AS value,
    CASE final.verdict
        WHEN 'wrong' THEN 'call ' || final.call_id || ' is graded right, but: ' || final.told
        ELSE 'call ' || final.call_id || ' is graded wrong, but every part of the ruling that was noted is right'
    END || coalesce(' (' || nullif(ruling.because, '') || ')', '') AS message,
    CASE final.verdict
        WHEN 'wrong' THEN 'look at the facts on this row again; if they stand, the call was wrong'
        ELSE 'look at the facts on this row again; if they stand, the call was right, or a part that was wrong '
            || 'is not noted'
    END AS remedy,
    calls.evaluator_id AS person_id,
    final.call_id AS call_ids,
    nullif(ruling.rule_ids, '') AS rule_ids
FROM final
JOIN facts.fct_call AS calls USING (call_id)
JOIN rulings.ruling AS ruling USING (call_id)
JOIN meta.file AS file USING (file_id)
WHERE final.verdict <> final.grade
