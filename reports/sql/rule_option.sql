-- Points that a league settles.
-- grain: one row per point
-- key: option_id
-- reads: published.pub_rule_option
SELECT
    option_id, title, codes, choices, default_choice, in_force, settled_by, reference, confidence,
    note, rule_ids, topics
FROM published.pub_rule_option
ORDER BY option_id
