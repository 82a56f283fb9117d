-- Sheets of two games that are nearly the same, row by row: one was filled in by copying the other.
-- Grain: one pair of sheets (evaluator and game each). Key: finding_id.
-- Reads: checked.plate_calls, meta.file. Parameters: $rows (least size of a sheet), $share (least part alike).
--
-- A row's signature is all that was recorded but ids, numbers, day of entry and notes. Where the ball's place was measured, two
-- games do not bring the same row twice by chance; elsewhere the place of the row in its sheet counts too.
-- Sheets that say nearly the same in each row (few signatures) cannot be told from one another and are left out.
WITH signed AS (
    SELECT
        row_id,
        game_id,
        evaluator_id,
        ball_x_in IS NOT NULL AND ball_z_in IS NOT NULL AS is_measured,
        md5(CAST(to_json(row(*COLUMNS(
            * EXCLUDE (row_id, file_id, line_no, call_id, game_id, evaluator_id, umpire_id, pitch_no, recorded_on, note)
        ))) AS VARCHAR)) AS signature
    FROM checked.plate_calls
),

placed AS (
    SELECT
        game_id,
        evaluator_id,
        row_id,
        signature || CASE
            WHEN is_measured THEN ''
            ELSE '#' || row_number() OVER (
                PARTITION BY game_id, evaluator_id ORDER BY row_id NULLS LAST
            )
        END AS signature
    FROM signed
),

sheets AS (
    SELECT
        game_id,
        evaluator_id,
        count(*) AS row_count,
        min(row_id) AS row_id
    FROM signed
    GROUP BY game_id, evaluator_id
    HAVING count(*) >= $rows AND count(DISTINCT signature) * 2 >= count(*)
),

alike AS (
    SELECT
        earlier.game_id AS first_game_id,
        earlier.evaluator_id AS first_evaluator_id,
        later.game_id,
        later.evaluator_id,
        count(DISTINCT later.row_id) AS same_count
    FROM placed AS earlier
    JOIN placed AS later ON later.signature = earlier.signature AND later.game_id <> earlier.game_id
    SEMI JOIN sheets ON sheets.game_id = earlier.game_id AND sheets.evaluator_id = earlier.evaluator_id
    GROUP BY earlier.game_id, earlier.evaluator_id, later.game_id, later.evaluator_id
),

final AS (
    SELECT alike.*, sheet.row_count, sheet.row_id
    FROM alike
    JOIN sheets AS sheet ON sheet.game_id = alike.game_id AND sheet.evaluator_id = alike.evaluator_id
    JOIN sheets AS first_sheet
        ON first_sheet.game_id = alike.first_game_id AND first_sheet.evaluator_id = alike.first_evaluator_id
    WHERE first_sheet.row_id < sheet.row_id
        AND alike.same_count >= $share * least(sheet.row_count, first_sheet.row_count)
)

SELECT
    'copied_sheets/' || final.first_game_id || '/' || final.first_evaluator_id || '/' || final.game_id || '/'
        || final.evaluator_id AS finding_id,
    'plate_calls' AS table_name,
    final.row_id,
    file.path,
    calls.line_no,
    'game_id' AS column_name,
    final.game_id AS value,
    final.same_count || ' of the ' || final.row_count || ' calls of game ' || final.game_id || ' (evaluator '
        || final.evaluator_id || ') are the same, fact for fact, as calls of game ' || final.first_game_id
        || ' (evaluator ' || final.first_evaluator_id || ')' AS message,
    'ask which game the sheet belongs to, and take the other out' AS remedy,
    CASE WHEN final.evaluator_id = final.first_evaluator_id THEN final.evaluator_id END AS person_id
FROM final
JOIN checked.plate_calls AS calls USING (row_id)
JOIN meta.file AS file USING (file_id)
