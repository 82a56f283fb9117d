-- Where rows failed, the most frequent first.
-- grain: one row per table, column and stage
-- key: table_name, column_name, stage
-- reads: published.pub_reject_kind
SELECT
    table_name, column_name, stage, "rows", files, reason, remedy
FROM published.pub_reject_kind
ORDER BY "rows" DESC, table_name NULLS FIRST, column_name NULLS FIRST, stage
