-- Subjects of the sessions, as planned.
-- grain: one row per session, topic
-- key: session, topic
-- reads: scores.clinic_subject
SELECT
    session, place, topic, area, form, attendees, times, chances, season_times, season_chances,
    expected_wrong, removed, removed_low, removed_high, judged_share, not_known, known, not_clear,
    not_asked, misruling_codes, strata
FROM scores.clinic_subject
ORDER BY session NULLS FIRST, topic NULLS FIRST
