-- Evaluators who graded their own work: the evaluator is, by evaluators.umpire_id, the umpire of the rows.
-- Grain: one sheet, evaluator and game. Key: finding_id.
-- Reads: counted_call (temporary), checked.plate_calls, checked.positioning, checked.ratings, checked.amendments,
-- checked.games, checked.evaluators, meta.file.
WITH graded AS (
    SELECT 'plate_calls' AS table_name, row_id, file_id, line_no, game_id, evaluator_id, umpire_id, call_count
    FROM counted_call
    UNION ALL
    SELECT 'positioning', row_id, file_id, line_no, game_id, evaluator_id, NULL, 1 FROM checked.positioning
    UNION ALL
    SELECT 'ratings', row_id, file_id, line_no, game_id, evaluator_id, NULL, 1 FROM checked.ratings
    UNION ALL
    -- Who amends a call has graded it.
    SELECT
        'amendments',
        amendment.row_id,
        amendment.file_id,
        amendment.line_no,
        calls.game_id,
        amendment.evaluator_id,
        calls.umpire_id,
        1
    FROM checked.amendments AS amendment
    JOIN checked.plate_calls AS calls USING (call_id)
),

own AS (
    SELECT graded.*, evaluator.umpire_id AS own_umpire_id
    FROM graded
    JOIN checked.games AS game USING (game_id)
    JOIN checked.evaluators AS evaluator USING (evaluator_id)
    WHERE evaluator.umpire_id = coalesce(graded.umpire_id, game.plate_umpire_id)
),

final AS (
    SELECT
        table_name,
        game_id,
        evaluator_id,
        own_umpire_id,
        min(row_id) AS row_id,
        arg_min(file_id, row_id) AS file_id,
        arg_min(line_no, row_id) AS line_no,
        CAST(sum(call_count) AS BIGINT) AS row_count
    FROM own
    GROUP BY table_name, game_id, evaluator_id, own_umpire_id
)

SELECT
    'own_game/' || final.table_name || '/' || final.game_id || '/' || final.evaluator_id AS finding_id,
    final.table_name,
    final.row_id,
    file.path,
    final.line_no,
    'evaluator_id' AS column_name,
    final.evaluator_id AS value,
    'evaluator ' || final.evaluator_id || ' is umpire ' || final.own_umpire_id
        || ' and graded his or her own work in game ' || final.game_id || ' (' || final.row_count
        || CASE WHEN final.row_count = 1 THEN ' row' ELSE ' rows' END || ' of ' || final.table_name || ')'
        AS message,
    'have somebody else grade the game, or take these rows out' AS remedy,
    final.evaluator_id AS person_id
FROM final
JOIN meta.file AS file USING (file_id)
