-- How many read how with the cuts moved: the readings of scores.sensitivity counted by level.
-- grain: one row per level judged for, area (or 'all') and shift of the cut
-- key: target_level, area, shift
-- reads: scores.sensitivity, scores.readiness
SELECT
    r.target_level, s.area, s.shift,
    count(*) FILTER (s.verdict = 'ready') AS ready,
    count(*) FILTER (s.verdict = 'more_looks') AS more_looks,
    count(*) FILTER (s.verdict = 'not_yet') AS not_yet,
    count(*) FILTER (s.changes) AS moved
FROM scores.sensitivity AS s
JOIN scores.readiness AS r USING (umpire_id)
GROUP BY r.target_level, s.area, s.shift
ORDER BY r.target_level NULLS FIRST, s.area NULLS FIRST, s.shift NULLS FIRST
