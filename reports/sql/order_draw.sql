-- Everybody's place in each draw, level by level.
-- grain: one row per level now worked, area and umpire
-- key: level, area, umpire_id
-- reads: published.pub_order_draw
SELECT level, area, umpire_id, linked_group, draws, bytes_each, from_base64(places) AS places
FROM published.pub_order_draw
ORDER BY level, area, umpire_id
