-- Misrulings by what a session on them would remove, as planned.
-- grain: one row per misruling_code
-- key: misruling_code
-- reads: scores.clinic_target
SELECT
    misruling_code, place, seats_filled, expected_wrong, removed, removed_low, removed_high, weighted,
    judged_share, not_known, known, not_clear, not_asked
FROM scores.clinic_target
ORDER BY misruling_code NULLS FIRST
