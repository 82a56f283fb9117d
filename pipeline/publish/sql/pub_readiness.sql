-- Readiness, as scored.
-- grain: one row per umpire
-- key: umpire_id
-- reads: scores.readiness
SELECT
    umpire_id, name, level, level_title, target_level, target_title, verdict, decided_by, probability,
    games, calls, evaluators, evidence_ok, nearest_area, nearest_cut, nearest_estimate, reasons_for,
    reasons_against, would_change, looks_needed, games_needed, evaluators_needed,
    quiz_answers_needed, looks_areas, linked_group
FROM scores.readiness
ORDER BY umpire_id NULLS FIRST
