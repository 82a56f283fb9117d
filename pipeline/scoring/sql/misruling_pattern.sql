-- Patterns of misruling: how often each was the first recognised, by how many, and what share of all misruled calls.
-- grain: one row per pattern of the catalogue, also those that did not occur
-- key: pattern_id
-- reads: recognised_text, recognised, scores.pattern_call
WITH first_ones AS (
    SELECT
        pattern_id, count(*) AS times, count(DISTINCT umpire_id) AS umpires,
        -- Examples of several umpires are worth more than several of one.
        list(call_id ORDER BY nth, call_id)[1:5] AS examples
    FROM (
        SELECT *, row_number() OVER (PARTITION BY pattern_id, umpire_id ORDER BY call_id) AS nth
        FROM scores.pattern_call
        WHERE pattern_id IS NOT NULL
    )
    GROUP BY pattern_id
),
also AS (
    SELECT r.pattern_id, count(*) AS also_times
    FROM recognised AS r
    JOIN scores.pattern_call AS c ON c.call_id = r.call_id
    WHERE r.place > 1
    GROUP BY r.pattern_id
),
total AS (
    SELECT count(*) AS misruled FROM scores.pattern_call
),
final AS (
    SELECT
        t.pattern_id,
        t.precedence,
        t.kind,
        coalesce(f.times, 0) AS times,
        coalesce(a.also_times, 0) AS also_times,
        coalesce(f.umpires, 0) AS umpires,
        round(coalesce(f.times, 0) / nullif(total.misruled, 0), 6) AS share,
        array_to_string(f.examples, ';') AS example_call_ids
    FROM recognised_text AS t
    CROSS JOIN total
    LEFT JOIN first_ones AS f ON f.pattern_id = t.pattern_id
    LEFT JOIN also AS a ON a.pattern_id = t.pattern_id
)
SELECT pattern_id, precedence, kind, times, also_times, umpires, share, example_call_ids
FROM final
ORDER BY pattern_id
