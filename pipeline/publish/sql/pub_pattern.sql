-- Patterns of misruling, as written and as met.
-- grain: one row per pattern of the catalogue
-- key: pattern_id
-- reads: rulings.pattern_text, scores.misruling_pattern
SELECT
    t.pattern_id, t.precedence, t.kind, t.topic, t.title, t.says, t.true_where, t.codes, t.rule_refs, t.confidence,
    t.source, s.times, s.also_times, s.umpires, s.share, s.example_call_ids
FROM rulings.pattern_text AS t
JOIN scores.misruling_pattern AS s USING (pattern_id)
ORDER BY t.pattern_id
