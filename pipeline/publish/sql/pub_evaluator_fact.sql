-- Of each fact that an evaluator's calls turned on: how often it was written down, and what its blanks left open.
-- grain: one row per evaluator and fact that a ruling asked for
-- key: evaluator_id, fact
-- reads: scores.evaluator_health, scores.call_grade, rulings.ruling, facts.fct_call, fact_text
WITH asked AS (
    SELECT evaluator_id, part AS fact, cases AS asked, found AS recorded
    FROM scores.evaluator_health
    WHERE measure = 'facts_recorded' AND part <> ''
),
open_call AS (
    SELECT
        f.evaluator_id, call_id, f.topic, string_split(r.needs, ';') AS needed,
        -- Only the parts of the ruling that are still undecided.
        array_to_string(
            list_filter(string_split(g.right_text, '; '), lambda part: contains(part, ' or ')), '; '
        ) AS undecided
    FROM scores.call_grade AS g
    JOIN rulings.ruling AS r USING (call_id)
    JOIN facts.fct_call AS f USING (call_id)
    WHERE g.verdict = 'open' AND r.needs <> ''
),
needed AS (
    SELECT evaluator_id, call_id, topic, undecided, len(needed) AS facts_needed, unnest(needed) AS fact
    FROM open_call
),
counted AS (
    SELECT
        evaluator_id, fact,
        count(*) AS open_calls,
        count(*) FILTER (WHERE facts_needed = 1) AS settled_alone,
        string_agg(DISTINCT topic, ';' ORDER BY topic) AS topics,
        array_to_string(min(call_id, 5), ';') AS call_ids
    FROM needed
    GROUP BY evaluator_id, fact
),
frequent AS (
    SELECT evaluator_id, fact, undecided
    FROM needed
    WHERE undecided <> ''
    GROUP BY evaluator_id, fact, undecided
    QUALIFY row_number() OVER (PARTITION BY evaluator_id, fact ORDER BY count(*) DESC, undecided) = 1
)
SELECT
    asked.evaluator_id, asked.fact,
    coalesce(t.title, asked.fact) AS title,
    t.allowed,
    asked.asked, asked.recorded,
    coalesce(counted.open_calls, 0) AS open_calls,
    coalesce(counted.settled_alone, 0) AS settled_alone,
    frequent.undecided, counted.topics, counted.call_ids
FROM asked
LEFT JOIN fact_text AS t USING (fact)
LEFT JOIN counted USING (evaluator_id, fact)
LEFT JOIN frequent USING (evaluator_id, fact)
ORDER BY evaluator_id, open_calls DESC, fact
