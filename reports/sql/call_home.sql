-- Whose call each call is: where its entry stands.
-- grain: one row per accepted call
-- key: call_id
-- reads: published.pub_call
SELECT call_id, umpire_id
FROM published.pub_call
ORDER BY call_id
