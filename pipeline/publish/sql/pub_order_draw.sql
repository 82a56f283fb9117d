-- Everybody's place in each draw, as scored, the bytes as text.
-- grain: one row per level now worked, area and umpire seen in it
-- key: level, area, umpire_id
-- reads: scores.order_draw
SELECT level, area, umpire_id, linked_group, draws, bytes_each, to_base64(places) AS places
FROM scores.order_draw
ORDER BY level NULLS FIRST, area NULLS FIRST, umpire_id NULLS FIRST
