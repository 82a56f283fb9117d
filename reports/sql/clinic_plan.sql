-- The clinic plan in sum, in the order of the pages.
-- grain: one row per sessions
-- key: sessions
-- reads: published.pub_clinic_plan
SELECT
    sessions, attendees, seats_filled, umpires_wrong, wrong_seen, expected_wrong, removed, removed_low,
    removed_high, share_removed_rules, share_removed_practice, share_removed_off
FROM published.pub_clinic_plan
ORDER BY sessions
