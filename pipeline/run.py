"""The order of the steps, the run's outcome, and its manifest."""

from __future__ import annotations

import functools
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
from pipeline.rules.dimensions import zone_measures
from pipeline.rules.options import settle
from pipeline.store import StepResult, Store, clear_leftovers, storage_faults, timed_step, write_bytes

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
    replaced: int = 0

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


def _load_to_check(config: RunConfig, store: Store) -> StepResult:
    """Load, and have the package that the check needs imported meanwhile: that takes seconds."""
    from pipeline.checks.expectations import end_import_ahead, import_ahead
    from pipeline.ingest.load import load_season

    try:
        return load_season(config, store, import_ahead)
    except BaseException:
        end_import_ahead()
        raise


def _check(config: RunConfig, store: Store) -> StepResult:
    from pipeline.checks.check import check_season

    return check_season(config, store)


def _facts(config: RunConfig, store: Store) -> StepResult:
    from pipeline.facts.build import build_facts

    return build_facts(config, store, zone_measures())


def _rulings(config: RunConfig, store: Store) -> StepResult:
    from pipeline.rulings.batch import rule_season

    return rule_season(config, store)


def _patterns(config: RunConfig, store: Store) -> StepResult:
    from pipeline.rulings.patterns import recognise_season

    return recognise_season(config, store)


def _quiz(config: RunConfig, store: Store) -> StepResult:
    from pipeline.rulings.quiz_key import check_keys

    return check_keys(config, store)


def _findings(config: RunConfig, store: Store) -> StepResult:
    from pipeline.checks.after_rulings import check_rulings

    return check_rulings(config, store)


def _scores(config: RunConfig, store: Store) -> StepResult:
    from pipeline.scoring.score import score_season

    return score_season(config, store)


def _health(config: RunConfig, store: Store) -> StepResult:
    from pipeline.scoring.health import health_season

    return health_season(config, store)


def _clinics(config: RunConfig, store: Store) -> StepResult:
    from pipeline.scoring.clinics import plan_clinics

    return plan_clinics(config, store)


def _plays(config: RunConfig, store: Store) -> StepResult:
    from pipeline.item_lists import asked_in_lists
    from pipeline.rulings.clinic_plays import make_clinic_plays, rules_day

    return make_clinic_plays(config, store, asked_in_lists(_avoided(config), rules_day(config, store)))


def _publish(config: RunConfig, store: Store) -> StepResult:
    from pipeline.publish.publish import publish_season

    return publish_season(config, store)


def _site(config: RunConfig, store: Store) -> StepResult:
    from reports.build import build_site

    return build_site(config, store)


_STEPS: dict[str, tuple[Step, ...]] = {
    "load": (_load,),
    "check": (_check,),
    "score": (_facts, _rulings, _patterns, _quiz, _findings, _scores, _health, _clinics, _plays),
    "report": (_publish, _site),
}


def _avoided(config: RunConfig) -> list[Path]:
    """The sheets of quiz items that the policy names, beside the policy."""
    folder = config.policy_path.parent if config.policy_path else config.season
    return [folder / name for name in config.policy.clinics.avoid]


def _refuse_lost_lists(config: RunConfig) -> None:
    """Stop before the work begins where a sheet that the policy names is not there."""
    for path in _avoided(config):
        if not path.is_file():
            raise InputError(
                f"the policy names a sheet of quiz items that is not there: {path}",
                where=Where(config.policy_path or config.season),
                hint="mend `avoid` under [clinics]; a path is read from the folder of the policy",
            )


def _progress(steps: list[tuple[str, Step]], *, shown: bool) -> Iterator[tuple[str, Step]]:
    if not shown:
        yield from steps
        return
    from tqdm import tqdm

    yield from tqdm(steps, desc="season", unit="step", leave=False, file=sys.stderr)


def _refuse_gap(config: RunConfig, store: Store, stage: str) -> None:
    """Stop where a stage would build on one that does not stand, or on one whose own ground has changed since."""
    place = STAGES.index(stage)
    if not place or STAGES[place - 1] in store.stages_done():
        return
    before = STAGES[place - 1]
    raise InputError(
        f"the season has not been through `{before}` yet, or not since its sheets were loaded again",
        where=Where(config.store_path),
        hint=f"run `platework {before} {config.season}` first, or `platework run {config.season}` for all",
    )


def _run_steps(config: RunConfig, store: Store, stages: tuple[str, ...]) -> list[StepResult]:
    """Run the steps of some stages, each in a transaction of its own, and write down which stages stand."""
    todo = [(stage, step) for stage in stages for step in _STEPS[stage]]
    done = []
    for stage, step in _progress(todo, shown=config.show_progress):
        if step is _STEPS[stage][0]:
            store.begin_stage(stage, STAGES.index(stage))
        do = _load_to_check if step is _load and "check" in stages else step
        done.append(timed_step(functools.partial(do, config, store)))
        if step is _STEPS[stage][-1]:
            store.end_stage(stage, STAGES.index(stage))
    return done


def run_stages(config: RunConfig, stages: tuple[str, ...]) -> RunOutcome:
    """Run some stages in order on the season store and write the manifest.

    Raises
    ------
    InputError
        A stage is asked for before the one that it builds on.
    StoreBusyError, StoreVersionError, StoreError
        The season store cannot be used.
    StorageError, UnwritableError
        There is no room, or no leave to write.
    """
    settle(config.policy.rule_options, Where(config.policy_path or config.season))
    _refuse_lost_lists(config)
    with storage_faults(config.out):
        config.out.mkdir(parents=True, exist_ok=True)
    with Store(config.store_path, renew=stages[0] == "load") as store, storage_faults(config.store_path):
        _refuse_gap(config, store, stages[0])
        clear_leftovers(config.out)
        outcome = _outcome(config, store, tuple(_run_steps(config, store, stages)))
        _write_manifest(config, store, outcome)
    return outcome


def run_season(season: Path, out: Path | None = None, *, show_progress: bool = False) -> RunOutcome:
    """Do the whole job on a season folder: load, check, rule, score, publish and report."""
    return run_stages(read_config(season, out, show_progress=show_progress), STAGES)


def _outcome(config: RunConfig, store: Store, steps: tuple[StepResult, ...]) -> RunOutcome:
    rows_in = int(store.value("SELECT coalesce(sum(rows_in), 0) FROM meta.file WHERE table_name IS NOT NULL"))
    quarantined = int(store.value("SELECT count(*) FROM meta.reject"))
    findings = sum(
        int(store.value(f"SELECT count(*) FROM {table}"))
        for table in ("meta.finding", "meta.ruling_finding")
        if store.has_table(table)
    )
    replaced = int(store.value("SELECT count(*) FROM meta.replaced"))
    accepted = rows_in - quarantined - replaced
    return RunOutcome(config, steps, rows_in, accepted, quarantined, findings, replaced)


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
            "rule_options": dict(settle(policy.rule_options)),
            "levels": [level.id for level in policy.levels],
        },
        "inputs": store.records(
            "SELECT path, sheet, table_name, sha256, bytes, encoding, delimiter, rows_in, rows_blank, "
            "rows_in - rows_replaced - quarantined AS accepted, quarantined, rows_replaced AS replaced FROM ("
            "SELECT *, (SELECT count(*) FROM meta.reject WHERE reject.file_id = file.file_id) AS quarantined "
            "FROM meta.file AS file) ORDER BY path, sheet"
        ),
        "books": {
            "rows_in": outcome.rows_in,
            "accepted": outcome.accepted,
            "quarantined": outcome.quarantined,
            "replaced": outcome.replaced,
        },
        "mends": dict(store.rows("SELECT state, count(*) FROM meta.mend GROUP BY state ORDER BY state")),
        "withdrawn": [
            path for (path,) in store.rows("SELECT path FROM meta.file WHERE notes LIKE 'withdrawn:%' ORDER BY path")
        ],
        "findings": outcome.findings,
        "steps": [
            {"name": s.name, "rows_in": s.rows_in, "rows_out": s.rows_out, "notes": s.notes} for s in outcome.steps
        ],
        "times": {
            "written_at": datetime.now(UTC).isoformat(timespec="seconds"),
            "seconds": {step.name: round(step.seconds, 3) for step in outcome.steps},
        },
    }
    text = json.dumps(manifest, indent=2, ensure_ascii=False, default=str) + "\n"
    write_bytes(config.out / "manifest.json", text.encode())
