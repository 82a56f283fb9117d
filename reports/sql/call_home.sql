-- Whose call each call is, and of which game, in the order of the umpire's ledger: where its entry stands.
-- grain: one row per accepted call
-- key: call_id
-- reads: published.pub_call
SELECT umpire_id, game_id, call_id
FROM published.pub_call
ORDER BY umpire_id, game_on NULLS LAST, game_id, path, sheet NULLS FIRST, line_no, call_id
