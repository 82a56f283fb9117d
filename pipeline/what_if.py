"""Another policy tried on a scored season: who moves and why. Nothing of the season is written over.

Standards, risks, least evidence, limits on misrulings and levels are tried on the stored draws, without a fit.
Settings that change what a call is worth (measurement, rule options) or the draws themselves (number, seed)
need the season scored anew: that is done on a copy of the store which is thrown away.
"""

from __future__ import annotations

import csv
import dataclasses
import io
import json
import shutil
import tempfile
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.config import Policy, RunConfig, read_policy
from pipeline.errors import Where
from pipeline.formulas import safe_row
from pipeline.rules.options import settle
from pipeline.run import run_stages
from pipeline.store import Store, storage_faults

if TYPE_CHECKING:
    from pipeline.scoring.what_if import Change, SeasonEvidence

FORMS = ("text", "csv", "json")

VERDICT_WORDS = {
    "ready": "ready",
    "not_yet": "not yet",
    "more_looks": "more looks",
    "not_judged": "not judged",
}
_COLUMNS = (
    "umpire_id", "name", "level", "target_before", "target_after", "verdict_before", "verdict_after", "moves",
    "probability_before", "probability_after", "because", "would_also_do", "decided_before", "decided_after",
    "chance_moved_by",
)  # fmt: skip
_MOST_UNMOVED = 10


@dataclass(frozen=True)
class Trial:
    """A policy tried: both policies, everybody's change, and how it was found."""

    first: Policy
    second: Policy
    first_path: Path | None
    second_path: Path
    changes: list[Change]
    regraded: str
    without_effect: list[str]


def what_if(config: RunConfig, second_path: Path, form: str = "text") -> str:
    """Return who moves under a second policy, and why, as text, CSV or JSON.

    A season that has not been scored by its own policy since its sheets were checked is scored first, as
    `platework score` does.

    Raises
    ------
    ConfigError
        The second policy has an unknown setting or a value out of range.
    InputError
        The season has not been loaded and checked yet, or the file cannot be read.
    """
    trial = try_policy(config, second_path)
    return {"text": as_text, "csv": as_csv, "json": as_json}[form](trial)


def try_policy(config: RunConfig, second_path: Path) -> Trial:
    """Return what a second policy does; see `what_if`."""
    from pipeline.scoring.what_if import compare

    second = read_policy(second_path)
    settle(second.rule_options, Where(second_path))
    if not _is_scored(config):
        run_stages(config, ("score",))
    before = _evidence(config.store_path)
    regraded = _regrading(config.policy, second)
    after = _scored_anew(config, second, second_path) if regraded else None
    return Trial(
        first=config.policy,
        second=second,
        first_path=config.policy_path,
        second_path=second_path,
        changes=compare(config.policy, second, before, after, regraded),
        regraded=regraded,
        without_effect=_without_effect(config.policy, second),
    )


def _is_scored(config: RunConfig) -> bool:
    """Whether the store's scores stand and rest on the policy that the season has now."""
    from pipeline.scoring.stored_draws import policy_text, policy_used

    if not config.store_path.exists():
        return False
    with Store(config.store_path, read_only=True) as store:
        return "score" in store.stages_done() and policy_used(store) == json.loads(policy_text(config.policy))


def _evidence(path: Path) -> SeasonEvidence:
    from pipeline.scoring.what_if import read_evidence

    with Store(path, read_only=True) as store:
        return read_evidence(store)


def _regrading(first: Policy, second: Policy) -> str:
    """Return, in words, the settings that differ and without which the draws cannot stand; else nothing."""
    found = []
    for name in ("tracked_sd_in", "video_sd_in", "eye_sd_in", "edge_low", "edge_high"):
        old, new = getattr(first.measurement, name), getattr(second.measurement, name)
        if old != new:
            found.append(f"{name} {old:g} to {new:g}")
    options, others = dict(settle(first.rule_options)), dict(settle(second.rule_options))
    found += [
        f"{name} {options.get(name, 'not settled')} to {others.get(name, 'not settled')}"
        for name in sorted(options.keys() | others.keys())
        if options.get(name) != others.get(name)
    ]
    for name in ("draws", "seed"):
        old, new = getattr(first, name), getattr(second, name)
        if old != new:
            found.append(f"{name} {old} to {new}")
    return ", ".join(found)


def _without_effect(first: Policy, second: Policy) -> list[str]:
    found = []
    if dict(first.consequence_weights) != dict(second.consequence_weights):
        found.append("the consequence weights choose topics for clinics, and move no reading")
    if first.interval != second.interval:
        found.append("the width of the intervals is only shown, and moves no reading")
    if first.clinics != second.clinics:
        found.append("the settings of the clinics plan sessions, and move no reading")
    if (first.first_day, first.last_day) != (second.first_day, second.last_day):
        found.append("the season's days only point out games outside them")
    return found


def _scored_anew(config: RunConfig, second: Policy, second_path: Path) -> SeasonEvidence:
    with tempfile.TemporaryDirectory(prefix="platework-") as folder:
        trial = dataclasses.replace(config, policy=second, policy_path=second_path, out=Path(folder))
        with storage_faults(trial.store_path):
            shutil.copyfile(config.store_path, trial.store_path)
        run_stages(trial, ("score",))
        return _evidence(trial.store_path)


def as_text(trial: Trial) -> str:
    """Return the account for people: who moves, from what to what, and by which settings."""
    moved = [one for one in trial.changes if one.moves]
    lines = [f"{trial.second_path} instead of {trial.first_path or 'the season policy'}: nothing was written."]
    if trial.regraded:
        lines.append(f"Calls were graded and scored anew in a copy ({trial.regraded}).")
    lines += [f"Note: {text}." for text in trial.without_effect]
    lines += ["", *_tally(trial.changes), ""]
    if moved:
        lines.append(f"{len(moved)} of {len(trial.changes)} umpires would read otherwise:")
    else:
        lines.append(f"None of {len(trial.changes)} umpires would read otherwise.")
    for one in moved:
        before, after = one.before, one.after
        judged = one.target_after or one.target_before
        lines += [
            "",
            f"{one.name} ({one.umpire_id}), judged for {judged}",
            f"  {VERDICT_WORDS[before.verdict]} ({_percent(before.probability)}) -> "
            f"{VERDICT_WORDS[after.verdict]} ({_percent(after.probability)})",
            f"  because of: {' with '.join(one.because)}",
        ]
        lines += [f"  would also do: {text}" for text in one.also]
        lines += [f"  before: {before.decided_by}", f"  after: {after.decided_by}"]
    still = [one for one in trial.changes if not one.moves and abs(one.chance_move) >= 0.0005]
    if still:
        lines += ["", "Same reading, but the chance moves (most first):"]
        for one in still[:_MOST_UNMOVED]:
            main = f"; most by {one.chance_moved_by[0][0]}" if one.chance_moved_by else ""
            lines.append(
                f"  {one.name} ({one.umpire_id}), {VERDICT_WORDS[one.after.verdict]}: "
                f"{_percent(one.before.probability)} -> {_percent(one.after.probability)}{main}"
            )
        if len(still) > _MOST_UNMOVED:
            lines.append(f"  and {len(still) - _MOST_UNMOVED} more; --format csv has all")
    return "\n".join(lines) + "\n"


def _tally(changes: list[Change]) -> list[str]:
    before = Counter(one.before.verdict for one in changes)
    after = Counter(one.after.verdict for one in changes)
    return [
        f"  {words:<11} {before[name]:>5} -> {after[name]:>5}"
        for name, words in VERDICT_WORDS.items()
        if before[name] or after[name]
    ]


def _record(one: Change) -> dict[str, Any]:
    return {
        "umpire_id": one.umpire_id,
        "name": one.name,
        "level": one.level,
        "target_before": one.target_before,
        "target_after": one.target_after,
        "verdict_before": one.before.verdict,
        "verdict_after": one.after.verdict,
        "moves": one.moves,
        "probability_before": _rounded(one.before.probability),
        "probability_after": _rounded(one.after.probability),
        "because": list(one.because),
        "would_also_do": list(one.also),
        "decided_before": one.before.decided_by,
        "decided_after": one.after.decided_by,
        "chance_moved_by": [{"setting": text, "by": round(by, 6)} for text, by in one.chance_moved_by],
    }


def as_csv(trial: Trial) -> str:
    """Return one line for each umpire of the roster; lists are joined by `; `."""
    text = io.StringIO()
    writer = csv.DictWriter(text, _COLUMNS, lineterminator="\n")
    writer.writeheader()
    for one in trial.changes:
        row = _record(one)
        row["moves"] = str(row["moves"]).lower()
        row["because"], row["would_also_do"] = "; ".join(row["because"]), "; ".join(row["would_also_do"])
        row["chance_moved_by"] = "; ".join(f"{100 * by:+.1f} points: {text}" for text, by in one.chance_moved_by)
        writer.writerow(dict(zip(row, safe_row(row.values()), strict=True)))
    return text.getvalue()


def as_json(trial: Trial) -> str:
    """Return one JSON document: policies, tally, and every umpire."""
    document = {
        "policy_before": str(trial.first_path) if trial.first_path else None,
        "policy_after": str(trial.second_path),
        "graded_anew": trial.regraded or None,
        "without_effect": trial.without_effect,
        "verdicts_before": dict(sorted(Counter(one.before.verdict for one in trial.changes).items())),
        "verdicts_after": dict(sorted(Counter(one.after.verdict for one in trial.changes).items())),
        "umpires": [_record(one) for one in trial.changes],
    }
    return json.dumps(document, indent=2, ensure_ascii=False) + "\n"


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 6)


def _percent(value: float | None) -> str:
    return "unknown" if value is None else f"{100 * value:.1f} %"
