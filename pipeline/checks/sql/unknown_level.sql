-- Levels that the policy does not name: nobody can be judged by them.
-- Grain: one sheet and level. Key: finding_id. Blank levels pass.
-- Reads: checked.umpires, checked.evaluators, checked.games, checked.slate, checked.decisions, meta.file.
-- Parameter: $levels (the ids of the policy's levels).
WITH used AS (
    SELECT 'umpires' AS table_name, row_id, file_id, line_no, level FROM checked.umpires
    UNION ALL
    SELECT 'evaluators', row_id, file_id, line_no, level FROM checked.evaluators
    UNION ALL
    SELECT 'games', row_id, file_id, line_no, level FROM checked.games
    UNION ALL
    SELECT 'slate', row_id, file_id, line_no, level FROM checked.slate
    UNION ALL
    SELECT 'decisions', row_id, file_id, line_no, level FROM checked.decisions
),

known AS (
    SELECT unnest(CAST($levels AS VARCHAR[])) AS level
),

unknown AS (
    SELECT
        table_name,
        level,
        min(row_id) AS row_id,
        arg_min(file_id, row_id) AS file_id,
        arg_min(line_no, row_id) AS line_no,
        count(*) AS row_count
    FROM used
    WHERE level NOT IN (SELECT level FROM known)
    GROUP BY table_name, level
),

likeness AS (
    SELECT
        unknown.table_name,
        unknown.level,
        known.level AS other,
        jaro_winkler_similarity(lower(unknown.level), lower(known.level)) AS alike
    FROM unknown
    CROSS JOIN known
),

nearest AS (
    -- 0.85 of 1: near enough for one slip in a word of this length.
    SELECT table_name, level, arg_max(other, (alike, other)) AS other
    FROM likeness
    WHERE alike >= 0.85
    GROUP BY table_name, level
)

SELECT
    'unknown_level/' || unknown.table_name || '/' || unknown.level AS finding_id,
    unknown.table_name,
    unknown.row_id,
    file.path,
    unknown.line_no,
    'level' AS column_name,
    unknown.level AS value,
    'the level ''' || unknown.level || ''' is not one of the policy (' || unknown.row_count
        || CASE WHEN unknown.row_count = 1 THEN ' row' ELSE ' rows' END || ' of ' || unknown.table_name || ')'
        AS message,
    coalesce('did you mean ''' || nearest.other || '''? Otherwise ', '')
        || 'mend the sheet, or add the level to the policy' AS remedy,
    NULL AS person_id
FROM unknown
JOIN meta.file AS file USING (file_id)
LEFT JOIN nearest ON nearest.table_name = unknown.table_name AND nearest.level = unknown.level
