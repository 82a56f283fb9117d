-- The readings with the cuts moved, in the order of the pages.
-- grain: one row per umpire, area (or 'all') and shift of the cut
-- key: umpire_id, area, shift
-- reads: published.pub_sensitivity
SELECT umpire_id, area, shift, probability, verdict, changes
FROM published.pub_sensitivity
ORDER BY umpire_id NULLS FIRST, area NULLS FIRST, shift NULLS FIRST
