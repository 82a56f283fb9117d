-- Grades against the rules by topic, with the rules that speak against them most often.
-- grain: one row per evaluator of the roster and topic with a grade that can be compared
-- key: evaluator_id, topic
-- reads: checked.evaluators, scores.call_grade, rulings.ruling
WITH grades AS (
    SELECT c.evaluator_id, c.topic, c.call_id, c.evaluator_agrees, r.rule_ids
    FROM checked.evaluators AS e
    JOIN scores.call_grade AS c USING (evaluator_id)
    JOIN rulings.ruling AS r USING (call_id)
    WHERE c.evaluator_agrees IS NOT NULL
),
spoken AS (
    SELECT evaluator_id, topic, unnest(string_split(rule_ids, ';')) AS rule_id
    FROM grades
    WHERE NOT evaluator_agrees AND rule_ids <> ''
),
ranked AS (
    SELECT evaluator_id, topic, rule_id, count(*) AS times
    FROM spoken
    GROUP BY evaluator_id, topic, rule_id
    QUALIFY row_number() OVER (PARTITION BY evaluator_id, topic ORDER BY count(*) DESC, rule_id) <= 3
),
rules AS (
    SELECT evaluator_id, topic, string_agg(rule_id, ';' ORDER BY times DESC, rule_id) AS rule_ids
    FROM ranked
    GROUP BY evaluator_id, topic
),
counted AS (
    SELECT
        evaluator_id,
        topic,
        count(*) AS grades,
        count(*) FILTER (NOT evaluator_agrees) AS wrong_grades,
        array_to_string(
            list_slice(list(call_id ORDER BY call_id) FILTER (NOT evaluator_agrees), 1, 5), ';'
        ) AS call_ids
    FROM grades
    GROUP BY evaluator_id, topic
)
SELECT counted.*, rules.rule_ids
FROM counted
LEFT JOIN rules USING (evaluator_id, topic)
ORDER BY evaluator_id, topic
