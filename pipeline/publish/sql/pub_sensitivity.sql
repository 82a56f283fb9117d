-- The readings with the cuts moved, as scored.
-- grain: one row per umpire, area (or 'all') and shift of the cut
-- key: umpire_id, area, shift
-- reads: scores.sensitivity
SELECT umpire_id, area, shift, probability, verdict, changes
FROM scores.sensitivity
ORDER BY umpire_id NULLS FIRST, area NULLS FIRST, shift NULLS FIRST
