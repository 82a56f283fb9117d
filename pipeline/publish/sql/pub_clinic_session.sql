-- Clinic sessions, as planned.
-- grain: one row per session
-- key: session
-- reads: scores.clinic_session
SELECT
    session, form, topics, attendees, expected_wrong, removed, removed_low, removed_high, weighted
FROM scores.clinic_session
ORDER BY session NULLS FIRST
