-- Committee decisions beside the advice on the same umpire and level.
-- grain: one row per umpire_id, level, decided_on
-- key: umpire_id, level, decided_on
-- reads: checked.decisions, checked.umpires, scores.readiness
WITH beside AS (
    SELECT
        d.umpire_id, u.name, d.level, d.date AS decided_on, d.decision, d.decided_by, d.reasons,
        r.verdict, r.probability,
        CASE r.verdict WHEN 'ready' THEN 'promote' WHEN 'not_yet' THEN 'keep' ELSE r.verdict END AS advised
    FROM checked.decisions AS d
    JOIN checked.umpires AS u USING (umpire_id)
    -- Advice is given on one level for each umpire; on any other there is nothing to compare with.
    LEFT JOIN scores.readiness AS r ON r.umpire_id = d.umpire_id AND r.target_level = d.level
),
final AS (
    SELECT
        *,
        CASE
            WHEN advised IS NULL OR decision = 'other' THEN 'not_compared'
            WHEN decision = advised THEN 'agrees'
            ELSE 'differs'
        END AS comparison,
        decided_on = max(decided_on) OVER (PARTITION BY umpire_id, level) AS is_latest
    FROM beside
)
SELECT
    umpire_id, name, level, decided_on, decision, decided_by, reasons, verdict, probability, comparison, is_latest
FROM final
ORDER BY umpire_id NULLS FIRST, level NULLS FIRST, decided_on NULLS FIRST
