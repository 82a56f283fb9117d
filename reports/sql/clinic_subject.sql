-- Subjects of the sessions, in the order of the pages.
-- grain: one row per session, topic
-- key: session, topic
-- reads: published.pub_clinic_subject
SELECT
    session, place, topic, area, form, attendees, times, chances, season_times, season_chances,
    expected_wrong, removed, removed_low, removed_high, judged_share, not_known, known, not_clear,
    not_asked, misruling_codes, strata
FROM published.pub_clinic_subject
ORDER BY session, place
