"""Who would read otherwise under another policy, and which of its settings make the difference."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from pipeline.config import AREA_TITLES, AREAS, CONSEQUENCES, Evidence, Level, Policy
from pipeline.scoring.misrulings import exceeded
from pipeline.scoring.readiness import reading
from pipeline.scoring.stored_draws import StoredArea, read_draws
from pipeline.scoring.tables import Row
from pipeline.store import Store
from pipeline.store.database import named_sql

NOT_JUDGED = "not_judged"
"""Said of an umpire whose level a policy does not name."""

REGRADED = "regraded"
"""The setting that stands for calls graded and scored anew under the second policy."""

_MOST_SETS = 4000
_EVIDENCE = ("games", "calls", "evaluators")
_COSTS = {"count": "a ball or strike", "base": "a base", "out": "an out", "safety": "a safety duty"}


@dataclass(frozen=True)
class SeasonEvidence:
    """What readings are made from: roster, draws by area, and misrulings by consequence class."""

    roster: Sequence[Row]
    areas: Mapping[str, StoredArea]
    made: Mapping[str, Mapping[str, int]]


def read_evidence(store: Store) -> SeasonEvidence:
    """Return what a scored season keeps."""
    made: dict[str, dict[str, int]] = {}
    for row in store.records(named_sql(__package__, "umpire_consequence")):
        made.setdefault(row["umpire_id"], {})[row["consequence"]] = row["times"]
    return SeasonEvidence(store.records(named_sql(__package__, "roster")), read_draws(store), made)


@dataclass(frozen=True)
class Said:
    """A reading with its chance and the clause that gave it."""

    verdict: str
    probability: float | None
    decided_by: str


@dataclass(frozen=True)
class Change:
    """One umpire under the two policies.

    Attributes
    ----------
    because
        The smallest set of changed settings that, put into the first policy alone, gives the second policy's
        reading; of several such sets the one that also gives its clause, then the one that moves the chance
        most. Empty for one who does not move.
    also
        The other smallest sets that would do, each in words.
    chance_moved_by
        Each changed setting that alone moves the chance, with the move, greatest first.
    """

    umpire_id: str
    name: str
    level: str
    target_before: str | None
    target_after: str | None
    before: Said
    after: Said
    because: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    chance_moved_by: tuple[tuple[str, float], ...] = field(default=())

    @property
    def moves(self) -> bool:
        """Whether the reading is another one."""
        return self.before.verdict != self.after.verdict

    @property
    def chance_move(self) -> float:
        """The second chance minus the first; 0 where one is unknown."""
        if self.before.probability is None or self.after.probability is None:
            return 0.0
        return self.after.probability - self.before.probability


def compare(
    first: Policy, second: Policy, before: SeasonEvidence, after: SeasonEvidence | None = None, regraded: str = ""
) -> list[Change]:
    """Return every umpire of the roster under both policies, those who move first, by what matters.

    The order: who is no longer ready, who becomes ready, who becomes "not yet", who is no longer "not yet", who
    is judged no more or newly; then the others by how far the chance moves.

    Parameters
    ----------
    after
        What the season looks like graded anew under the second policy; None when it grades alike.
    regraded
        In words, the settings by which it was graded anew.
    """
    found = []
    for index, row in enumerate(before.roster):
        one = _Person(first, second, before, after, regraded, index, row)
        found.append(one.change())
    return sorted(found, key=lambda one: (_weight(one), -abs(round(one.chance_move, 9)), one.umpire_id))


def _weight(one: Change) -> int:
    before, after = one.before.verdict, one.after.verdict
    if before == after:
        return 5
    if NOT_JUDGED in (before, after):
        return 4
    if before == "ready":
        return 0
    if after == "ready":
        return 1
    return 2 if after == "not_yet" else 3


class _Person:
    """One umpire, readable under any mixture of the two policies' settings."""

    def __init__(
        self, first: Policy, second: Policy, before: SeasonEvidence, after: SeasonEvidence | None, regraded: str,
        index: int, row: Row,
    ) -> None:  # fmt: skip
        self.row, self.index = row, index
        self.seasons = (before, after or before)
        self.regraded = regraded
        self.targets = (first.level_above(row["level"]), second.level_above(row["level"]))
        self.words = self._changed()
        self._met: dict[tuple[int, str, float], NDArray[np.bool_]] = {}

    def _changed(self) -> dict[str, str]:
        """Return the settings that differ, each with its words."""
        one, other = self.targets
        words: dict[str, str] = {}
        if one is not None and other is not None:
            words |= level_changes(one, other)
        if self.seasons[0] is not self.seasons[1]:
            words[REGRADED] = f"calls graded anew: {self.regraded}"
        return words

    def said(self, chosen: Collection[str]) -> Said:
        """Return the reading with the chosen settings of the second policy and all others of the first."""
        one, other = self.targets
        judged_by_both = one is not None and other is not None
        level = mixed_level(one, other, chosen) if one and other else (other if chosen else one)
        if level is None:
            return Said(NOT_JUDGED, None, "The policy names no level for this umpire's work")
        side = int(REGRADED in chosen or (bool(chosen) and not judged_by_both))
        season = self.seasons[side]
        row = season.roster[self.index]
        met, unseen = [], False
        for area, cut in level.standards.items():
            stored = season.areas.get(area)
            unseen = unseen or stored is None or stored.calls[self.index] == 0
            if stored is not None:
                met.append(self._meets(side, area, cut, stored))
        probability = float(np.mean(np.logical_and.reduce(met))) if met else None
        lacking = any(row[name] < getattr(level.evidence, name) for name in _EVIDENCE)
        too_many = exceeded(level.disqualifying, season.made.get(row["umpire_id"], {}))
        verdict, why = reading(level, probability, lacking=lacking, unseen=unseen, too_many=bool(too_many))
        return Said(verdict, probability, why)

    def _meets(self, side: int, area: str, cut: float, stored: StoredArea) -> NDArray[np.bool_]:
        key = (side, area, cut)
        if key not in self._met:
            self._met[key] = stored.adjusted[:, self.index].astype(np.float64) >= cut
        return self._met[key]

    def change(self) -> Change:
        one, other = self.targets
        judged = one is not None and other is not None
        everything = tuple(self.words) if judged else ("level",)
        before, after = self.said(()), self.said(everything)
        because: tuple[str, ...] = ()
        also: tuple[str, ...] = ()
        alone: list[tuple[str, float]] = []
        if judged:
            for name in everything:
                chance = self.said((name,)).probability
                moved = (chance or 0.0) - (before.probability or 0.0)
                if abs(moved) > 1e-12:
                    alone.append((self.words[name], moved))
            alone.sort(key=lambda item: (-abs(item[1]), item[0]))
            if before.verdict != after.verdict:
                because, also = self._decisive(everything, before, after)
        elif before.verdict != after.verdict:
            gone = "no longer" if other is None else "now"
            because = (f"the level {self.row['level']} is {gone} in the policy",)
        return Change(
            umpire_id=self.row["umpire_id"],
            name=self.row["name"],
            level=self.row["level"],
            target_before=one.title if one else None,
            target_after=other.title if other else None,
            before=before,
            after=after,
            because=because,
            also=also,
            chance_moved_by=tuple(alone),
        )

    def _decisive(
        self, names: Sequence[str], before: Said, after: Said
    ) -> tuple[tuple[str, ...], tuple[str, ...]]:
        tried = 0
        for size in range(1, len(names) + 1):
            enough: list[tuple[bool, float, tuple[str, ...]]] = []
            for chosen in combinations(names, size):
                tried += 1
                said = self.said(chosen)
                if said.verdict == after.verdict:
                    move = abs((said.probability or 0.0) - (before.probability or 0.0))
                    enough.append((said.decided_by == after.decided_by, move, chosen))
            if enough:
                best = max(enough, key=lambda item: item[:2])[2]
                others = [" with ".join(self.words[name] for name in one) for *_, one in enough if one != best]
                return tuple(self.words[name] for name in best), tuple(others)
            if tried > _MOST_SETS:
                break
        return tuple(self.words[name] for name in names), ()


def level_changes(one: Level, other: Level) -> dict[str, str]:
    """Return the settings in which two levels differ, by key, in words; a level of another id is one setting."""
    if one.id != other.id:
        return {"target": f"judged for {other.title} instead of {one.title}"}
    words: dict[str, str] = {}
    for area in AREAS:
        old, new = one.standards.get(area), other.standards.get(area)
        if old != new:
            words[f"standards.{area}"] = f"{AREA_TITLES[area]}: {_moved('cut', old, new, 'standard')}"
    if one.risk_ready != other.risk_ready:
        words["risk_ready"] = (
            f"accepted risk of ready in error {_percent(one.risk_ready)} to {_percent(other.risk_ready)}"
        )
    if one.risk_not_yet != other.risk_not_yet:
        words["risk_not_yet"] = (
            f"accepted risk of not yet in error {_percent(one.risk_not_yet)} to {_percent(other.risk_not_yet)}"
        )
    for name in _EVIDENCE:
        least, now = getattr(one.evidence, name), getattr(other.evidence, name)
        if least != now:
            words[f"evidence.{name}"] = f"least {name} {least} to {now}"
    for name in CONSEQUENCES:
        limit, now = one.disqualifying.get(name), other.disqualifying.get(name)
        if limit != now:
            words[f"disqualifying.{name}"] = (
                f"misrulings allowed that cost {_COSTS[name]}: {_limit(limit)} to {_limit(now)}"
            )
    return words


def mixed_level(one: Level, other: Level, chosen: Collection[str]) -> Level:
    """Return the first level with the chosen settings of the second."""
    if one.id != other.id:
        return other if "target" in chosen else one

    def pick(key: str) -> Level:
        return other if key in chosen else one

    standards = {
        area: pick(f"standards.{area}").standards[area]
        for area in AREAS
        if area in pick(f"standards.{area}").standards
    }
    return Level(
        id=one.id,
        title=one.title,
        standards=standards,
        evidence=Evidence(**{name: getattr(pick(f"evidence.{name}").evidence, name) for name in _EVIDENCE}),
        risk_ready=pick("risk_ready").risk_ready,
        risk_not_yet=pick("risk_not_yet").risk_not_yet,
        disqualifying={
            name: pick(f"disqualifying.{name}").disqualifying[name]
            for name in CONSEQUENCES
            if name in pick(f"disqualifying.{name}").disqualifying
        },
    )


def _moved(noun: str, old: float | None, new: float | None, whole: str) -> str:
    if old is None:
        return f"a new {whole}, {noun} {_percent(new)}"
    if new is None:
        return f"no {whole} any more ({noun} was {_percent(old)})"
    return f"{noun} {_percent(old)} to {_percent(new)}"


def _percent(value: float | None) -> str:
    return "unknown" if value is None else f"{100 * value:.1f} %"


def _limit(value: int | None) -> str:
    return "no limit" if value is None else str(value)
