-- Who attends, and why, as planned.
-- grain: one row per session, umpire_id, topic
-- key: session, umpire_id, topic
-- reads: scores.clinic_attendee
SELECT
    session, umpire_id, topic, place, times, chances, rate, season_rate, expected_wrong, removed,
    knowledge, answers, right_answers, misruling_codes, misruling_times, call_ids
FROM scores.clinic_attendee
ORDER BY session NULLS FIRST, umpire_id NULLS FIRST, topic NULLS FIRST
