-- Misruled calls of one code with their facts, and how often calls of their kind were misruled.
-- grain: one row per call whose verdict is wrong
-- key: call_id
-- reads: facts.fct_call, scores.call_grade
-- parameters: $code, $topic (NULL: all topics)
WITH graded AS (
    SELECT f.*, g.verdict
    FROM facts.fct_call AS f
    JOIN scores.call_grade AS g USING (call_id)
    WHERE f.rule_code = $code AND g.verdict IN ('right', 'wrong')
        AND ($topic IS NULL OR f.topic = CAST($topic AS VARCHAR))
),
kinds AS (
    SELECT stratum, count(*) AS graded_of_kind, count(*) FILTER (verdict = 'wrong') AS wrong_of_kind
    FROM graded
    GROUP BY stratum
)
SELECT graded.*, kinds.graded_of_kind, kinds.wrong_of_kind
FROM graded
JOIN kinds USING (stratum)
WHERE verdict = 'wrong'
ORDER BY call_id
