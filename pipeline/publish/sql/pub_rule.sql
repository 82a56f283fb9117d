-- The rules of the catalogue in our own words, and how often each was used, and used in a call that was wrong.
-- grain: one row per rule
-- key: rule_id
-- reads: rule_text (temporary, from the catalogue), rulings.ruling, scores.call_grade
WITH used AS (
    SELECT call_id, unnest(string_split(rule_ids, ';')) AS rule_id FROM rulings.ruling
),
counted AS (
    SELECT
        rule_id,
        count(*) AS times_used,
        count(*) FILTER (WHERE g.verdict = 'wrong') AS times_wrong
    FROM used
    LEFT JOIN scores.call_grade AS g USING (call_id)
    GROUP BY rule_id
),
final AS (
    SELECT t.*, coalesce(c.times_used, 0) AS times_used, coalesce(c.times_wrong, 0) AS times_wrong
    FROM rule_text AS t
    LEFT JOIN counted AS c USING (rule_id)
)
SELECT
    rule_id, topic, title, says, codes, reference_nfhs, reference_obr, reference_ncaa, confidence,
    decision, outcome, brings, count_effect, condition, yields_to, comes_before, sets_aside,
    times_used, times_wrong
FROM final
ORDER BY rule_id
