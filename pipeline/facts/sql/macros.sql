-- Standard normal distribution by the rational approximation 7.1.26 of Abramowitz and Stegun,
-- Handbook of Mathematical Functions (1964), for the error function: error at most 1.5e-7.
CREATE OR REPLACE TEMP MACRO erf_tail(x) AS
  (((((1.061405429 / (1 + 0.3275911 * x) - 1.453152027) / (1 + 0.3275911 * x) + 1.421413741)
     / (1 + 0.3275911 * x) - 0.284496736) / (1 + 0.3275911 * x) + 0.254829592) / (1 + 0.3275911 * x)) * exp(-x * x);
CREATE OR REPLACE TEMP MACRO normal_cdf(z) AS
  CASE WHEN z >= 0 THEN 1 - 0.5 * erf_tail(abs(z) / sqrt(2)) ELSE 0.5 * erf_tail(abs(z) / sqrt(2)) END;
