-- Who attends, and why, in the order of the pages.
-- grain: one row per session, umpire_id, topic
-- key: session, umpire_id, topic
-- reads: published.pub_clinic_attendee
SELECT
    session, umpire_id, topic, place, times, chances, rate, season_rate, expected_wrong, removed,
    knowledge, answers, right_answers, misruling_codes, misruling_times, call_ids
FROM published.pub_clinic_attendee
ORDER BY session, place, umpire_id, topic
