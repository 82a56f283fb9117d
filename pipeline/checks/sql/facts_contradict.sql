-- Calls whose facts cannot stand together, so that no ruling follows from them.
-- Grain: one call. Key: finding_id.
-- Reads: facts.fct_call, rulings.ruling, meta.file.
SELECT
    'facts_contradict/' || calls.call_id AS finding_id,
    'plate_calls' AS table_name,
    calls.row_id,
    file.path,
    calls.line_no,
    nullif(ruling.needs, '') AS column_name,
    calls.call_id AS value,
    'the facts of call ' || calls.call_id || ' cannot stand together'
        || coalesce(': ' || nullif(ruling.because, ''), '') AS message,
    'mend the fact that is wrong and load again; until then the call is not graded' AS remedy,
    calls.evaluator_id AS person_id,
    calls.call_id AS call_ids,
    nullif(ruling.rule_ids, '') AS rule_ids
FROM facts.fct_call AS calls
JOIN rulings.ruling AS ruling USING (call_id)
JOIN meta.file AS file USING (file_id)
WHERE ruling.state = 'contradiction'
