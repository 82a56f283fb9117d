"""The order of the steps, the run's outcome, and its manifest."""

from __future__ import annotations

import importlib.metadata
import json
import logging
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from pipeline.config import RunConfig, read_config
from pipeline.errors import InputError, Where
from pipeline.rules.dimensions import ball_radius_in, plate_half_width_in
from pipeline.rules.model import CODES
from pipeline.store import StepResult, Store, timed_step, write_bytes

log = logging.getLogger(__name__)

Step = Callable[[RunConfig, Store], StepResult]

STAGES = ("load", "check", "score", "report")
"""The stages that the command line can run alone; each goes on from where the one before it ended."""


@dataclass(frozen=True)
class RunOutcome:
    """What a run did: the account of each step, the books, and the exit code of the command."""

    config: RunConfig
    steps: tuple[StepResult, ...]
    rows_in: int
    accepted: int
    quarantined: int
    findings: int

    @property
    def exit_code(self) -> int:
        """0 when all is clean, 1 when rows were quarantined or there are findings to read."""
        return 1 if self.quarantined or self.findings else 0

    @property
    def store_path(self) -> Path:
        """Where the season store lies."""
        return self.config.store_path


def _load(config: RunConfig, store: Store) -> StepResult:
    from pipeline.ingest.load import load_season

    return load_season(config, store)


def _check(config: RunConfig, store: Store) -> StepResult:
    from pipeline.checks.check import check_season

    return check_season(config, store)


def _facts(config: RunConfig, store: Store) -> StepResult:
    from pipeline.facts.build import build_facts

    return build_facts(config, store, {code: (ball_radius_in(code), plate_half_width_in(code)) for code in CODES})


def _rulings(config: RunConfig, store: Store) -> StepResult:
    from pipeline.rulings.batch import rule_season

    return rule_season(config, store)


def _quiz(config: RunConfig, store: Store) -> StepResult:
    from pipeline.rulings.quiz_key import check_keys

    return check_keys(config, store)


def _findings(config: RunConfig, store: Store) -> StepResult:
    from pipeline.checks.after_rulings import check_rulings

    return check_rulings(config, store)


def _scores(config: RunConfig, store: Store) -> StepResult:
    from pipeline.scoring.score import score_season

    return score_season(config, store)


def _publish(config: RunConfig, store: Store) -> StepResult:
    from pipeline.publish.publish import publish_season

    return publish_season(config, store)


def _site(config: RunConfig, store: Store) -> StepResult:
    from reports.build import build_site

    return build_site(config, store)


_STEPS: dict[str, tuple[Step, ...]] = {
    "load": (_load,),
    "check": (_check,),
    "score": (_facts, _rulings, _quiz, _findings, _scores),
    "report": (_publish, _site),
}

_NEEDS = {"check": "meta.file", "score": "meta.check_result", "report": "scores.readiness"}


def _progress(steps: list[Step], *, shown: bool) -> Iterator[Step]:
    if not shown:
        yield from steps
        return
    from tqdm import tqdm

    yield from tqdm(steps, desc="season", unit="step", leave=False, file=sys.stderr)


def run_stages(config: RunConfig, stages: tuple[str, ...]) -> RunOutcome:
    """Run some stages in order on the season store and write the manifest.

    Raises
    ------
    InputError
        A stage is asked for before the one that it builds on.
    """
    config.out.mkdir(parents=True, exist_ok=True)
    done = []
    with Store(config.store_path) as store:
        needed = _NEEDS.get(stages[0])
        if needed and not store.has_table(needed):
            before = STAGES[STAGES.index(stages[0]) - 1]
            raise InputError(
                f"the season has not been through `{before}` yet",
                where=Where(config.store_path),
                hint=f"run `platework {before} {config.season}` first, or `platework run {config.season}` for all",
            )
        todo = [step for stage in stages for step in _STEPS[stage]]
        for step in _progress(todo, shown=config.show_progress):
            done.append(timed_step(lambda step=step: step(config, store)))  # type: ignore[misc]
        outcome = _outcome(config, store, tuple(done))
        _write_manifest(config, store, outcome)
    return outcome


def run_season(season: Path, out: Path | None = None, *, show_progress: bool = False) -> RunOutcome:
    """Do the whole job on a season folder: load, check, rule, score, publish and report."""
    return run_stages(read_config(season, out, show_progress=show_progress), STAGES)


def _outcome(config: RunConfig, store: Store, steps: tuple[StepResult, ...]) -> RunOutcome:
    rows_in = int(store.value("SELECT coalesce(sum(rows_in), 0) FROM meta.file WHERE table_name IS NOT NULL"))
    quarantined = int(store.value("SELECT count(*) FROM meta.reject"))
    findings = sum(
        int(store.value(f"SELECT count(*) FROM {table}")) for table in ("meta.finding", "meta.ruling_finding") if store.has_table(table)
    )
    return RunOutcome(config, steps, rows_in, rows_in - quarantined, quarantined, findings)


def _versions() -> dict[str, str]:
    names = ("platework", "duckdb", "great-expectations", "numpy", "pandas", "plotly", "scipy")
    return {name: importlib.metadata.version(name) for name in names}


def _write_manifest(config: RunConfig, store: Store, outcome: RunOutcome) -> None:
    policy = config.policy
    manifest: dict[str, Any] = {
        "title": policy.title,
        "versions": _versions(),
        "settings": {
            "interval": policy.interval,
            "draws": policy.draws,
            "seed": policy.seed,
            "levels": [level.id for level in policy.levels],
        },
        "inputs": store.records(
            "SELECT path, sheet, table_name, sha256, bytes, encoding, delimiter, rows_in, rows_blank, "
            "rows_in - (SELECT count(*) FROM meta.reject WHERE reject.file_id = file.file_id) AS accepted, "
            "(SELECT count(*) FROM meta.reject WHERE reject.file_id = file.file_id) AS quarantined "
            "FROM meta.file AS file ORDER BY path, sheet"
        ),
        "books": {"rows_in": outcome.rows_in, "accepted": outcome.accepted, "quarantined": outcome.quarantined},
        "findings": outcome.findings,
        "steps": [{"name": s.name, "rows_in": s.rows_in, "rows_out": s.rows_out, "notes": s.notes} for s in outcome.steps],
        "times": {
            "written_at": datetime.now(UTC).isoformat(timespec="seconds"),
            "seconds": {step.name: round(step.seconds, 3) for step in outcome.steps},
        },
    }
    text = json.dumps(manifest, indent=2, ensure_ascii=False, default=str) + "\n"
    write_bytes(config.out / "manifest.json", text.encode())


def _ruled_cases(store: Store, cases: Path) -> list[str]:
    from pipeline.config import Measurement
    from pipeline.facts.build import make_calls
    from pipeline.ingest.cases import land_cases
    from pipeline.rulings.batch import rule_table, today

    names = land_cases(store, cases, today())
    dimensions = {code: (ball_radius_in(code), plate_half_width_in(code)) for code in CODES}
    make_calls(store, "facts.case_call", dimensions, Measurement())
    rule_table(store, "facts.case_call", "rulings.case_ruling")
    return names


def rule_cases(cases: Path, out: Path | None = None) -> str:
    """Rule each row of a case list; return the list with its rulings as CSV text, and write it to `out` if given."""
    from pipeline.rulings.explain import write_rulings

    with Store() as store:
        names = _ruled_cases(store, cases)
        return write_rulings(store, names, out)


def explain_case(cases: Path, case_id: str) -> str:
    """Explain one case of a list, found by `case_id` or `call_id`, or by its line number where it has neither.

    Raises
    ------
    InputError
        The list has no such case.
    """
    from pipeline.rulings.explain import explain_call

    with Store() as store:
        names = _ruled_cases(store, cases)
        column = next((name for name in ("case_id", "call_id") if name in names), None)
        chosen = f'"in_{column}"' if column else "CAST(line_no AS VARCHAR)"
        line = store.value(f"SELECT line_no FROM raw.case_row WHERE trim({chosen}) = ?", [case_id])
        text = explain_call(store, "facts.case_call", str(line)) if line is not None else None
    if text is None:
        raise InputError(
            f"the list has no case {case_id!r}",
            where=Where(cases),
            hint=f"give a value of its column {column}" if column else "give a line number: 2 is the first case",
        )
    return text


def check_quiz(items: Path, out: Path | None = None) -> tuple[str, bool]:
    """Check the keys of a quiz sheet; return the verdicts as CSV text, and whether every checked key is confirmed."""
    import csv
    import io

    from pipeline.config import Measurement
    from pipeline.facts.build import make_calls
    from pipeline.ingest.cases import land_cases
    from pipeline.rulings.batch import rule_table, today
    from pipeline.rulings.quiz_key import LETTERS, check_items

    with Store() as store:
        names = land_cases(store, items, today())
        if "item_id" not in names or "key" not in names:
            raise InputError("the sheet has no item_id or no key", where=Where(items, 1), hint="see `platework blank quiz_items`")
        import schemas

        wanted = ("item_id", "rule_code", "quantity", "key", *(f"option_{letter}_states" for letter in LETTERS))
        given = ", ".join(f'nullif(trim("in_{name}"), \'\') AS {name}' if name in names else f"NULL AS {name}" for name in wanted)
        store.run(f"CREATE TEMP TABLE item AS SELECT line_no, {given} FROM raw.case_row")
        has_case = " OR ".join(f'nullif(trim("in_{name}"), \'\') IS NOT NULL' for name in schemas.fact_columns() if name in names)
        store.run(
            "UPDATE source_call SET call_id = item_id FROM item WHERE CAST(item.line_no AS VARCHAR) = source_call.call_id"
        )
        keep = f"SELECT trim(\"in_item_id\") FROM raw.case_row WHERE {has_case}" if has_case else "SELECT '' WHERE FALSE"
        store.run(f"DELETE FROM source_call WHERE call_id NOT IN ({keep})")
        dimensions = {code: (ball_radius_in(code), plate_half_width_in(code)) for code in CODES}
        make_calls(store, "facts.item_case", dimensions, Measurement())
        rule_table(store, "facts.item_case", "rulings.item_ruling")
        checks = check_items(store, "item", "rulings.item_ruling")
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(["item_id", "verdict", "right_options", "because"])
    writer.writerows([check.item_id, check.verdict, ";".join(check.right_options), check.because] for check in checks)
    text = stream.getvalue()
    if out is not None:
        write_bytes(out, text.encode())
    return text, all(check.verdict == "confirmed" for check in checks)
