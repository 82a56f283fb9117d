-- Case plays for the sessions, as planned.
-- grain: one row per session, number
-- key: session, number
-- reads: rulings.clinic_play
SELECT
    session, number, item_id, topic, rule_code, stem, option_a, option_b, option_c, option_d, why_a,
    why_b, why_c, why_d, key, because, rule_refs, confidence, difficulty, difficulty_why, origin
FROM rulings.clinic_play
ORDER BY session NULLS FIRST, number NULLS FIRST
