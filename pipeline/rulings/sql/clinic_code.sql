-- The rule code under which each subject was misruled most often: its plays are told by it.
-- grain: one row per topic with a misruled call
-- key: topic
-- reads: facts.fct_call, scores.call_grade
WITH counted AS (
    SELECT f.topic, f.rule_code, count(*) AS times
    FROM facts.fct_call AS f
    JOIN scores.call_grade AS g USING (call_id)
    WHERE g.verdict = 'wrong'
    GROUP BY f.topic, f.rule_code
)
SELECT topic, rule_code
FROM counted
QUALIFY row_number() OVER (PARTITION BY topic ORDER BY times DESC, rule_code) = 1
ORDER BY topic
