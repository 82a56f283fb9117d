-- Called-zone fit, in the order of the pages.
-- grain: one row
-- key: outcome
-- reads: published.pub_called_zone_fit
SELECT
    outcome, message, pitches, umpires, zone_low_in, zone_high_in, plate_half_width_in,
    log_likelihood, iterations, evaluations, return_code, gradient_norm
FROM published.pub_called_zone_fit
ORDER BY outcome
