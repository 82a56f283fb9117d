-- The clinic plan in sum, as planned.
-- grain: one row per sessions
-- key: sessions
-- reads: scores.clinic_plan
SELECT
    sessions, attendees, seats_filled, umpires_wrong, wrong_seen, expected_wrong, removed, removed_low,
    removed_high, share_removed_rules, share_removed_practice, share_removed_off
FROM scores.clinic_plan
ORDER BY sessions NULLS FIRST
