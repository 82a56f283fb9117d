-- Case plays for the sessions, in the order of the pages.
-- grain: one row per session, number
-- key: session, number
-- reads: published.pub_clinic_play
SELECT
    session, number, item_id, topic, rule_code, stem, option_a, option_b, option_c, option_d, why_a,
    why_b, why_c, why_d, key, because, rule_refs, confidence, difficulty, difficulty_why, origin
FROM published.pub_clinic_play
ORDER BY session, number
