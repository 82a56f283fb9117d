-- What was ruled wrong where the right ruling used a rule, with some calls to look at.
-- grain: one row per rule and misruling
-- key: rule_id, misruling_code
-- reads: rulings.ruling, scores.call_grade, scores.misruling
WITH used AS (
    SELECT call_id, unnest(string_split(rule_ids, ';')) AS rule_id FROM rulings.ruling
),
counted AS (
    SELECT
        rule_id,
        misruling_code,
        count(*) AS times,
        array_to_string(list(call_id ORDER BY call_id)[1:10], ';') AS example_call_ids
    FROM used
    JOIN scores.call_grade AS g USING (call_id)
    WHERE g.verdict = 'wrong' AND g.misruling_code IS NOT NULL AND rule_id <> ''
    GROUP BY rule_id, misruling_code
),
final AS (
    SELECT c.*, coalesce(m.title, c.misruling_code) AS title
    FROM counted AS c
    LEFT JOIN scores.misruling AS m USING (misruling_code)
)
SELECT
    rule_id, misruling_code, title, times, example_call_ids
FROM final
ORDER BY rule_id, misruling_code
