-- Measures, in the order of their list.
-- grain: one row per measure
-- key: dimension
-- reads: published.pub_dimension
SELECT
    dimension, place, topic, title, unit, value_nfhs, value_obr, value_ncaa, confidence_nfhs,
    confidence_obr, confidence_ncaa, reference
FROM published.pub_dimension
ORDER BY place
