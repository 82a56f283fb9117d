-- Called-zone fit, as scored.
-- grain: one row
-- key: outcome
-- reads: scores.called_zone_fit
SELECT
    outcome, message, pitches, umpires, zone_low_in, zone_high_in, plate_half_width_in,
    log_likelihood, iterations, evaluations, return_code, gradient_norm
FROM scores.called_zone_fit
ORDER BY outcome
