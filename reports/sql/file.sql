-- Sheets, in the order of the pages.
-- grain: one row per file or sheet of a workbook
-- key: path, sheet
-- reads: published.pub_file
SELECT
    path, sheet, table_name, sha256, encoding, delimiter, rows_in, rows_blank, accepted,
    quarantined, replaced, notes
FROM published.pub_file
ORDER BY path, sheet NULLS FIRST
