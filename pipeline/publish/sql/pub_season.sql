-- The season in one row: what was handed in, what was accepted, what came of it.
-- grain: one row
-- key: title
-- reads: meta.file, meta.finding, meta.ruling_finding, checked.umpires, checked.evaluators, checked.games,
--   checked.plate_calls, scores.call_grade
WITH handed_in AS (
    -- A row for which a mended one stands came in once, not twice.
    SELECT coalesce(CAST(sum(rows_in - rows_replaced) AS BIGINT), 0) AS calls_in
    FROM meta.file
    WHERE table_name = 'plate_calls'
),
accepted AS (
    SELECT count(*) AS calls_accepted FROM checked.plate_calls
),
graded AS (
    SELECT
        count(*) FILTER (WHERE verdict = 'right') AS calls_right,
        count(*) FILTER (WHERE verdict = 'wrong') AS calls_wrong,
        count(*) FILTER (WHERE verdict = 'edge') AS calls_edge,
        count(*) FILTER (WHERE verdict = 'open') AS calls_open,
        count(*) FILTER (WHERE verdict = 'not_graded') AS calls_not_graded
    FROM scores.call_grade
),
final AS (
    SELECT *
    FROM handed_in CROSS JOIN accepted CROSS JOIN graded
)
SELECT
    $title AS title,
    nullif($association, '') AS association,
    CAST($first_day AS DATE) AS first_day,
    CAST($last_day AS DATE) AS last_day,
    (SELECT string_agg(DISTINCT rule_code, ', ' ORDER BY rule_code) FROM checked.games) AS rule_codes,
    (SELECT count(*) FROM checked.umpires) AS umpires,
    (SELECT count(*) FROM checked.evaluators) AS evaluators,
    (SELECT count(*) FROM checked.games) AS games,
    calls_in,
    calls_accepted,
    calls_in - calls_accepted AS calls_quarantined,
    calls_right, calls_wrong, calls_edge, calls_open, calls_not_graded,
    (SELECT count(*) FROM meta.finding) + (SELECT count(*) FROM meta.ruling_finding) AS findings,
    $generated_by AS generated_by,
    CAST($interval AS DOUBLE) AS interval
FROM final
ORDER BY title
