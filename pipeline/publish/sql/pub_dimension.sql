-- The measures that the codes fix.
-- grain: one row per measure
-- key: dimension
-- reads: dimension_text (temporary, from the catalogue)
SELECT
    dimension, place, topic, title, unit, value_nfhs, value_obr, value_ncaa, confidence_nfhs,
    confidence_obr, confidence_ncaa, reference
FROM dimension_text
ORDER BY dimension
