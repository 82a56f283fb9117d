"""Hold the sheets against the rulings: what can be told only once the rules core has answered."""

from __future__ import annotations

from pipeline.checks.across import NEAR_BOUNDARY_IN
from pipeline.checks.findings import add_findings, make_finding_table, note_results
from pipeline.config import RunConfig
from pipeline.store import StepResult, Store


def check_rulings(config: RunConfig, store: Store) -> StepResult:
    """Fill `meta.ruling_finding` with calls whose facts contradict, or whose grade contradicts the rules.

    The columns are those of `meta.finding`. The grade is compared only with parts of the ruling that were
    noted and that the rules settle. The two counts join those of the other checks in `meta.check_result`.
    """
    with store.transaction():
        make_finding_table(store, "meta.ruling_finding")
        add_findings(store, "meta.ruling_finding", "facts_contradict")
        add_findings(store, "meta.ruling_finding", "grade_contradicts_rules", {"near_in": NEAR_BOUNDARY_IN})
        note_results(store, "meta.ruling_finding", "rulings")
        rows_in, contradictions, findings = store.rows(
            "SELECT (SELECT count(*) FROM facts.fct_call), "
            "count(*) FILTER (WHERE kind = 'facts_contradict'), count(*) FROM meta.ruling_finding"
        )[0]
    notes = {"contradictions": contradictions, "grades": findings - contradictions}
    return StepResult("recheck", rows_in, findings, notes=notes)
