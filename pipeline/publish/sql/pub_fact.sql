-- How much of the season each fact is recorded, and what its blanks leave open.
-- grain: one row per fact of a plate call whose blank means that nobody recorded it
-- key: fact
-- reads: fact_text, checked.plate_calls, scores.evaluator_health, scores.call_grade, rulings.ruling
WITH filled AS (
    UNPIVOT (SELECT count(COLUMNS(*)) AS "\0" FROM checked.plate_calls) ON COLUMNS(*) INTO NAME fact VALUE filled
),
total AS (
    SELECT count(*) AS calls FROM checked.plate_calls
),
asked AS (
    SELECT part AS fact, CAST(sum(cases) AS BIGINT) AS asked, CAST(sum(found) AS BIGINT) AS recorded
    FROM scores.evaluator_health
    WHERE measure = 'facts_recorded' AND part <> ''
    GROUP BY part
),
open_call AS (
    SELECT
        call_id, string_split(r.needs, ';') AS needed,
        -- Only the parts of the ruling that are still undecided.
        array_to_string(
            list_filter(string_split(g.right_text, '; '), lambda part: contains(part, ' or ')), '; '
        ) AS undecided
    FROM scores.call_grade AS g
    JOIN rulings.ruling AS r USING (call_id)
    WHERE g.verdict = 'open' AND r.needs <> ''
),
needed AS (
    SELECT call_id, undecided, len(needed) AS facts_needed, unnest(needed) AS fact
    FROM open_call
),
counted AS (
    SELECT
        fact,
        count(*) AS open_calls,
        count(*) FILTER (WHERE facts_needed = 1) AS settled_alone,
        array_to_string(min(call_id, 5), ';') AS call_ids
    FROM needed
    GROUP BY fact
),
frequent AS (
    SELECT fact, undecided
    FROM needed
    WHERE undecided <> ''
    GROUP BY fact, undecided
    QUALIFY row_number() OVER (PARTITION BY fact ORDER BY count(*) DESC, undecided) = 1
)
SELECT
    t.fact, t.place, t.title, t.allowed,
    total.calls,
    coalesce(filled.filled, 0) AS filled,
    coalesce(asked.asked, 0) AS asked,
    coalesce(asked.recorded, 0) AS recorded,
    round(asked.recorded / asked.asked, 6) AS recorded_share,
    coalesce(counted.open_calls, 0) AS open_calls,
    coalesce(counted.settled_alone, 0) AS settled_alone,
    frequent.undecided, counted.call_ids
FROM fact_text AS t
CROSS JOIN total
LEFT JOIN filled USING (fact)
LEFT JOIN asked USING (fact)
LEFT JOIN counted USING (fact)
LEFT JOIN frequent USING (fact)
ORDER BY place
