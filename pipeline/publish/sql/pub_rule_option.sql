-- The points that a league settles, and what holds this season.
-- grain: one row per point
-- key: option_id
-- reads: rule_option_text (temporary, from the catalogue)
SELECT
    option_id, title, codes, choices, default_choice, in_force, settled_by, reference, confidence,
    note, rule_ids, topics
FROM rule_option_text
ORDER BY option_id
