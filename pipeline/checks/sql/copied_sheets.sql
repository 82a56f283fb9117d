-- Sheets of two games that are nearly the same, row by row: one was filled in by copying the other.
-- Grain: one pair of sheets (evaluator and game each). Key: finding_id.
-- Reads: checked.plate_calls, signed_call (temporary: row_id, game_id, evaluator_id, is_measured and signature of each
-- call), meta.file. Parameters: $rows (least size of a sheet), $share (least part alike, from three quarters on), $most
-- (how many of the sheets that a row stands in are held against the others).
--
-- A row's signature is all that was recorded but ids, numbers, day of entry and notes. Where the ball's place was
-- measured, two games do not bring the same row twice by chance; elsewhere the place of the row in its sheet counts too.
-- Sheets that say nearly the same in each row (few signatures) cannot be told from one another and are left out.
--
-- Only pairs that may be copies are held against each other in full. Such a pair shares a measured row or, if it shares
-- none, enough blocks of four unmeasured rows: of m rows a share s is alike, so that at most m (1 - s) of the m / 4
-- blocks differ, and both have as many unmeasured rows. What stands in many sheets is a habit of writing: of those only
-- the first $most are held against all others.
WITH signed AS MATERIALIZED (
    -- Numbers of 64 bits stand for sheets and signatures: comparing them costs a fraction of comparing texts.
    SELECT row_id, hash(game_id, evaluator_id) AS sheet, is_measured, signature
    FROM signed_call
),

large AS MATERIALIZED (
    SELECT
        sheet,
        count(*) AS row_count,
        min(row_id) AS row_id,
        count(*) FILTER (WHERE NOT is_measured) AS unmeasured_count
    FROM signed
    GROUP BY sheet
    HAVING count(*) >= $rows
),

repeated AS (
    SELECT signature FROM signed WHERE is_measured GROUP BY signature HAVING count(*) > 1
),

measured AS (
    SELECT
        signature,
        large.sheet,
        row_number() OVER (PARTITION BY signature ORDER BY large.row_id NULLS LAST) AS place
    FROM (SELECT DISTINCT signature, sheet FROM signed SEMI JOIN repeated USING (signature) WHERE is_measured) AS held
    JOIN large USING (sheet)
),

numbered AS (
    SELECT
        sheet,
        is_measured,
        signature,
        row_number() OVER (PARTITION BY sheet ORDER BY row_id NULLS LAST) - 1 AS place
    FROM signed
    SEMI JOIN (SELECT sheet FROM large WHERE unmeasured_count >= $share * $rows) AS unmeasured USING (sheet)
),

blocks AS (
    SELECT
        sheet,
        place // 4 AS block,
        bit_xor(hash(signature, place)) AS signature
    FROM numbered
    WHERE NOT is_measured
    GROUP BY sheet, place // 4
    HAVING count(*) = 4
),

placed_blocks AS (
    SELECT
        blocks.*,
        large.row_count,
        row_number() OVER (PARTITION BY block, signature ORDER BY large.row_id NULLS LAST) AS place
    FROM blocks
    JOIN large USING (sheet)
    QUALIFY count(*) OVER (PARTITION BY block, signature) > 1
),

candidates AS MATERIALIZED (
    SELECT earlier.sheet AS first_sheet, later.sheet
    FROM measured AS earlier
    JOIN measured AS later USING (signature)
    WHERE earlier.place <= $most AND earlier.place < later.place
    UNION
    SELECT earlier.sheet, later.sheet
    FROM placed_blocks AS earlier
    JOIN placed_blocks AS later USING (block, signature)
    WHERE earlier.place <= $most AND earlier.place < later.place
    GROUP BY earlier.sheet, later.sheet, earlier.row_count, later.row_count
    HAVING count(*) >= least(earlier.row_count, later.row_count) // 4
        - floor(least(earlier.row_count, later.row_count) * (1 - $share) + 0.000001)
),

looked AS MATERIALIZED (
    SELECT
        sheet,
        row_id,
        signature,
        CASE
            WHEN is_measured THEN hash(signature, -1)
            ELSE hash(signature, row_number() OVER (PARTITION BY sheet ORDER BY row_id NULLS LAST))
        END AS placed
    FROM signed
    SEMI JOIN (SELECT first_sheet AS sheet FROM candidates UNION SELECT sheet FROM candidates) AS held USING (sheet)
),

sheets AS (
    SELECT sheet, count(*) AS row_count, min(row_id) AS row_id
    FROM looked
    GROUP BY sheet
    HAVING count(DISTINCT signature) * 2 >= count(*)
),

parts AS MATERIALIZED (
    SELECT sheet, placed, count(*) AS row_count FROM looked SEMI JOIN sheets USING (sheet) GROUP BY sheet, placed
),

alike AS (
    SELECT candidates.first_sheet, candidates.sheet, sum(later.row_count) AS same_count
    FROM candidates
    JOIN parts AS later ON later.sheet = candidates.sheet
    JOIN parts AS earlier ON earlier.sheet = candidates.first_sheet AND earlier.placed = later.placed
    GROUP BY candidates.first_sheet, candidates.sheet
),

final AS (
    SELECT
        CAST(alike.same_count AS BIGINT) AS same_count,
        sheet.row_count,
        sheet.row_id,
        first_sheet.row_id AS first_row_id
    FROM alike
    JOIN sheets AS sheet ON sheet.sheet = alike.sheet
    JOIN sheets AS first_sheet ON first_sheet.sheet = alike.first_sheet
    WHERE alike.same_count >= $share * least(sheet.row_count, first_sheet.row_count)
)

SELECT
    'copied_sheets/' || first_call.game_id || '/' || first_call.evaluator_id || '/' || calls.game_id || '/'
        || calls.evaluator_id AS finding_id,
    'plate_calls' AS table_name,
    final.row_id,
    file.path,
    calls.line_no,
    'game_id' AS column_name,
    calls.game_id AS value,
    final.same_count || ' of the ' || final.row_count || ' calls of game ' || calls.game_id || ' (evaluator '
        || calls.evaluator_id || ') are the same, fact for fact, as calls of game ' || first_call.game_id
        || ' (evaluator ' || first_call.evaluator_id || ')' AS message,
    'ask which game the sheet belongs to, and take the other out' AS remedy,
    CASE WHEN calls.evaluator_id = first_call.evaluator_id THEN calls.evaluator_id END AS person_id
FROM final
JOIN checked.plate_calls AS calls ON calls.row_id = final.row_id
JOIN checked.plate_calls AS first_call ON first_call.row_id = final.first_row_id
JOIN meta.file AS file ON file.file_id = calls.file_id
WHERE first_call.game_id <> calls.game_id
