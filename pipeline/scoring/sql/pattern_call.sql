-- Misruled calls and what each reads like: the first of the patterns recognised in it.
-- grain: one row per call with verdict wrong
-- key: call_id
-- reads: scores.call_grade, recognised, recognised_text
SELECT g.call_id, g.umpire_id, r.pattern_id, t.kind
FROM scores.call_grade AS g
LEFT JOIN recognised AS r ON r.call_id = g.call_id AND r.place = 1
LEFT JOIN recognised_text AS t ON t.pattern_id = r.pattern_id
WHERE g.verdict = 'wrong'
ORDER BY g.call_id
