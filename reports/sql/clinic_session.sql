-- Clinic sessions, in the order of the pages.
-- grain: one row per session
-- key: session
-- reads: published.pub_clinic_session
SELECT
    session, form, topics, attendees, expected_wrong, removed, removed_low, removed_high, weighted
FROM published.pub_clinic_session
ORDER BY session
