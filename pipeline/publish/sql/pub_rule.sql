-- The rules of the catalogue in our own words, and how often each was used.
-- grain: one row per rule
-- key: rule_id
-- reads: rule_text (temporary, from the catalogue), rulings.ruling
WITH used AS (
    SELECT rule_id, count(*) AS times_used
    FROM (SELECT unnest(string_split(rule_ids, ';')) AS rule_id FROM rulings.ruling)
    GROUP BY rule_id
),
final AS (
    SELECT t.*, coalesce(u.times_used, 0) AS times_used
    FROM rule_text AS t
    LEFT JOIN used AS u USING (rule_id)
)
SELECT
    rule_id, topic, title, says, codes, reference_nfhs, reference_obr, reference_ncaa, confidence, times_used
FROM final
ORDER BY rule_id
