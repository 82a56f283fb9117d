-- What the letters name as strengths and as things to work on.
-- grain: one row per umpire, side and place
-- key: umpire_id, side, place
-- reads: scores.letter_point
SELECT umpire_id, side, place, kind, subject, cases, good, rate, low, high, compared, is_certain
FROM scores.letter_point
ORDER BY umpire_id NULLS FIRST, side NULLS FIRST, place NULLS FIRST
