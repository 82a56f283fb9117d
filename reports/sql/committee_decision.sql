-- Committee decisions beside the advice, in the order of the pages.
-- grain: one row per umpire_id, level, decided_on
-- key: umpire_id, level, decided_on
-- reads: published.pub_committee_decision
SELECT
    umpire_id, name, level, decided_on, decision, decided_by, reasons, verdict, probability, comparison,
    is_latest
FROM published.pub_committee_decision
ORDER BY umpire_id, level, decided_on
