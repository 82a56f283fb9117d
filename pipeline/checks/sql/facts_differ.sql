-- Two evaluators on one pitch of one game who recorded different facts. Facts that only one recorded, and
-- measures (which differ by their error alone), are not compared.
-- Grain: one pair of calls. Key: finding_id. A pitch without a number cannot be paired.
-- Reads: checked.plate_calls, meta.file. Parameter: $columns (the fact columns that are compared).
WITH calls AS (
    SELECT
        row_id,
        file_id,
        line_no,
        call_id,
        game_id,
        pitch_no,
        moment,
        evaluator_id
    FROM checked.plate_calls
    WHERE pitch_no IS NOT NULL
),

pairs AS MATERIALIZED (
    SELECT
        earlier.row_id AS first_row_id,
        earlier.evaluator_id AS first_evaluator_id,
        earlier.call_id AS first_call_id,
        later.*
    FROM calls AS earlier
    JOIN calls AS later
        ON later.game_id = earlier.game_id
        AND later.pitch_no = earlier.pitch_no
        -- A ruling before the pitch and one on it are two cases.
        AND later.moment = earlier.moment
        AND later.evaluator_id <> earlier.evaluator_id
        AND later.row_id > earlier.row_id
),

-- Only of rows that are in a pair: writing a row down as JSON is dear.
told AS MATERIALIZED (
    SELECT row_id, to_json(plate_calls) AS facts
    FROM checked.plate_calls AS plate_calls
    WHERE row_id IN (SELECT first_row_id FROM pairs UNION ALL SELECT row_id FROM pairs)
),

compared AS (
    SELECT
        pairs.*,
        names.place,
        names.name,
        json_extract_string(first_told.facts, '$."' || names.name || '"') AS first_value,
        json_extract_string(told.facts, '$."' || names.name || '"') AS value
    FROM pairs
    JOIN told ON told.row_id = pairs.row_id
    JOIN told AS first_told ON first_told.row_id = pairs.first_row_id
    CROSS JOIN (
        SELECT unnest(CAST($columns AS VARCHAR[])) AS name, generate_subscripts(CAST($columns AS VARCHAR[]), 1) AS place
    ) AS names
),

final AS (
    SELECT
        first_row_id,
        first_call_id,
        first_evaluator_id,
        row_id,
        any_value(file_id) AS file_id,
        any_value(line_no) AS line_no,
        any_value(call_id) AS call_id,
        any_value(evaluator_id) AS evaluator_id,
        any_value(game_id) AS game_id,
        any_value(pitch_no) AS pitch_no,
        string_agg(name, ', ' ORDER BY place NULLS LAST) AS names,
        string_agg(name || ' ' || first_value || ' against ' || value, ', ' ORDER BY place NULLS LAST) AS told
    FROM compared
    -- A missing value on either side is not a difference.
    WHERE first_value <> value
    GROUP BY first_row_id, first_call_id, first_evaluator_id, row_id
)

SELECT
    'facts_differ/' || final.first_call_id || '/' || final.call_id AS finding_id,
    'plate_calls' AS table_name,
    final.row_id,
    file.path,
    final.line_no,
    final.names AS column_name,
    final.call_id AS value,
    'evaluators ' || final.first_evaluator_id || ' and ' || final.evaluator_id || ' saw pitch ' || final.pitch_no
        || ' of game ' || final.game_id || ' differently (' || final.first_call_id || ' against ' || final.call_id
        || '): ' || final.told AS message,
    'settle it from video where there is one, and amend the call that is wrong' AS remedy,
    -- Two evaluators are named, so that it is for the committee.
    NULL AS person_id,
    final.first_call_id || ';' || final.call_id AS call_ids
FROM final
JOIN meta.file AS file USING (file_id)
