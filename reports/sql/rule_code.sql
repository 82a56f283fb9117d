-- Rules by code.
-- grain: one row per rule and code
-- key: rule_id, code
-- reads: published.pub_rule_code
SELECT
    rule_id, code, reference, confidence, valid_from, valid_until, note, instead_rule_ids,
    instead_outcome
FROM published.pub_rule_code
ORDER BY rule_id, code
