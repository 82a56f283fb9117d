-- Every rule in every code, and what answers its question in a code that does not have it.
-- grain: one row per rule and code
-- key: rule_id, code
-- reads: rule_code_text (temporary, from the catalogue)
SELECT
    rule_id, code, reference, confidence, valid_from, valid_until, note, instead_rule_ids,
    instead_outcome
FROM rule_code_text
ORDER BY rule_id, code
