"""The clinic plan: what to teach first, in which session, to whom, and what that is expected to change."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.config import RunConfig
from pipeline.scoring import quiz
from pipeline.scoring.clinic_effect import (
    KNOWLEDGE,
    NOTHING,
    Effect,
    Rates,
    effect_of,
    knowledge,
    removed_share,
    shrunk_rates,
)
from pipeline.scoring.clinic_map import COLUMNS as MAP_COLUMNS
from pipeline.scoring.clinic_map import map_rows
from pipeline.scoring.clinic_own import OwnMisrulings
from pipeline.scoring.clinic_plan import Session, plan_sessions
from pipeline.scoring.clinic_table import COLUMNS
from pipeline.scoring.design import Floats
from pipeline.scoring.tables import write_table
from pipeline.store import StepResult, Store
from pipeline.store.database import named_sql

BY_EYE = 0.5
"""A subject of whose wrong rulings at least this share is a matter of the eye is taught on the field."""

Row = dict[str, Any]


def plan_clinics(config: RunConfig, store: Store) -> StepResult:
    """Write `scores.clinic_plan`, `_target`, `_session`, `_subject`, `_attendee` and `scores.level_topic` at once.

    Reads `scores.call_grade`, `scores.pattern_call`, `scores.misruling`, `scores.misruling_case`,
    `scores.misruling_name`, `scores.umpire_misruling`, `checked.umpires`, and, where there is a quiz,
    `checked.quiz_responses`, `checked.quiz_items`, `facts.item_case` and `rulings.quiz_key`. Committee decisions are
    not read.
    """
    with store.transaction():
        season = _Season(config, store)
        rows = season.tables()
        written = sum(write_table(store, name, rows[name], COLUMNS[name]) for name in COLUMNS)
        by_level = map_rows(store.records(named_sql(__package__, "level_topic")), config.policy.interval)
        written += write_table(store, "level_topic", by_level, MAP_COLUMNS)
    notes = {"sessions": len(rows["clinic_session"]), "people": rows["clinic_plan"][0]["attendees"]}
    return StepResult("clinics", int(season.times.sum()), written, notes=notes)


class _Season:
    """Wrong rulings and chances by umpire and subject, what the quiz says, and the plan made of them."""

    def __init__(self, config: RunConfig, store: Store) -> None:
        self.policy, self.clinics, self.store = config.policy, config.policy.clinics, store
        pairs = self._records("clinic_pair")
        self.umpires = sorted({row["umpire_id"] for row in pairs})
        self.topics = sorted({row["topic"] for row in pairs})
        self.place = {umpire: place for place, umpire in enumerate(self.umpires)}
        self.column = {topic: place for place, topic in enumerate(self.topics)}
        self.times = self._matrix(pairs, "times")
        self.chances = self._matrix(pairs, "chances")
        self.kinds = self._records("clinic_kind")
        self.answers = self._answers()
        self.states = self._states()
        self.judged = self._judged("topic", self.topics)
        self.rates: list[Rates] = [shrunk_rates(self.times[:, k], self.chances[:, k]) for k in range(len(self.topics))]
        self.shares = np.column_stack(
            [self._shares(topic, self.judged[topic]) for topic in self.topics] or [np.zeros(0)]
        )
        self.weights = self._weights("topic")

    def _records(self, name: str, bound: dict[str, Any] | None = None) -> list[Row]:
        return self.store.records(named_sql(__package__, name), bound)

    def _matrix(self, rows: Iterable[Row], value: str) -> Floats:
        made = np.zeros((len(self.umpires), len(self.topics)))
        for row in rows:
            made[self.place[row["umpire_id"]], self.column[row["topic"]]] = row[value]
        return made

    def _answers(self) -> dict[tuple[str, str], tuple[int, int]]:
        """Right answers and answers by umpire and topic; empty where there is no quiz."""
        needed = ("checked.quiz_responses", "checked.quiz_items", "facts.item_case", "rulings.quiz_key")
        if not all(self.store.has_table(name) for name in needed):
            return {}
        keys = {row["item_id"]: row for row in self._records("quiz_key")}
        rows = self._records("clinic_answer", {"withheld": sorted(quiz.withheld_items(keys))})
        return {(row["umpire_id"], row["topic"]): (row["right_answers"], row["answers"]) for row in rows}

    def _states(self) -> dict[tuple[str, str], str]:
        known = {pair: knowledge(*pair) for pair in set(self.answers.values())}
        return {key: known[pair] for key, pair in self.answers.items()}

    def state(self, umpire: str, topic: str) -> str:
        """What the quiz says of an umpire and a subject."""
        return self.states.get((umpire, topic), "not_asked")

    def _judged(self, key: str, names: Iterable[str]) -> dict[str, float]:
        """Return the share of wrong rulings that are a matter of the eye, by topic or by misruling."""
        times, judged = Counter[str](), Counter[str]()
        for row in self.kinds:
            times[row[key]] += row["times"]
            judged[row[key]] += row["judged"]
        return {name: judged[name] / times[name] if times[name] else 0.0 for name in names}

    def _weights(self, key: str) -> dict[str, float]:
        """Return the mean weight of a wrong ruling by what it costs, by topic or by misruling."""
        times, weighed = Counter[str](), defaultdict[str, float](float)
        for row in self.kinds:
            times[row[key]] += row["times"]
            weighed[row[key]] += row["times"] * self.policy.consequence_weights[row["consequence"]]
        return {name: weighed[name] / times[name] for name in times}

    def _shares(self, topic: str, judged: float) -> Floats:
        by_state = {state: removed_share(state, judged, self.clinics) for state in KNOWLEDGE}
        return np.array([by_state[self.state(umpire, topic)] for umpire in self.umpires])

    def gains(self) -> Floats:
        """Return the weighted wrong rulings that a session removes; 0 for those who made no wrong ruling."""
        mean = np.column_stack([rates.mean for rates in self.rates] or [np.zeros(0)])
        weights = np.array([self.weights.get(topic, 0.0) for topic in self.topics])
        return np.where(self.times > 0, mean * self.chances * self.shares * weights, 0.0)

    def tables(self) -> dict[str, list[Row]]:
        """Return the rows of every table."""
        plan: list[Session] = []
        gains = self.gains()
        if gains.size:
            wish = self.clinics
            plan = plan_sessions(gains, wish.sessions, wish.seats, wish.subjects, wish.sessions_a_person)
        own = OwnMisrulings(self.store, self._taught(plan))
        rows: dict[str, list[Row]] = {"clinic_session": [], "clinic_subject": [], "clinic_attendee": []}
        for number, session in enumerate(plan, 1):
            total, weighted, forms = NOTHING, 0.0, set()
            for place, k in enumerate(session.subjects, 1):
                people = session.taught[k]
                effect = effect_of(self.rates[k], self.chances[:, k], self.shares[:, k], people)
                total, weighted = total + effect, weighted + effect.removed * self.weights[self.topics[k]]
                rows["clinic_subject"].append(self._subject_row(number, place, k, people, effect, own))
                forms.add(rows["clinic_subject"][-1]["form"])
                rows["clinic_attendee"] += self._attendee_rows(number, session, k, people, own)
            rows["clinic_session"].append(
                {
                    "session": number,
                    "form": forms.pop() if len(forms) == 1 else "both",
                    "topics": ";".join(self.topics[k] for k in session.subjects),
                    "attendees": len(session.people),
                    **self._effect_cells(total),
                    "weighted": weighted,
                }
            )
        rows["clinic_plan"] = [self._plan_row(plan, self._whole(plan))]
        rows["clinic_target"] = self._target_rows()
        return rows

    def _taught(self, plan: Sequence[Session]) -> list[tuple[str, str]]:
        """Return who is taught which subject, in order."""
        pairs = ((one, k) for session in plan for k in session.subjects for one in session.taught[k].tolist())
        return sorted({(self.umpires[one], self.topics[k]) for one, k in pairs})

    def _whole(self, plan: Sequence[Session]) -> Effect:
        """Return the effect of all sessions; what two sessions on one subject share in error is counted so."""
        whole = NOTHING
        for k in sorted({k for session in plan for k in session.subjects}):
            people = [one for session in plan if k in session.subjects for one in session.taught[k].tolist()]
            chosen = np.array(sorted(people), dtype=np.int64)
            whole = whole + effect_of(self.rates[k], self.chances[:, k], self.shares[:, k], chosen)
        return whole

    def _effect_cells(self, effect: Effect) -> Row:
        low, high = effect.interval(self.clinics, self.policy.interval)
        return {
            "expected_wrong": effect.expected,
            "removed": effect.removed,
            "removed_low": low,
            "removed_high": high,
        }

    def _plan_row(self, plan: Sequence[Session], whole: Effect) -> Row:
        return {
            "sessions": len(plan),
            "attendees": len({place for session in plan for place in session.people}),
            "seats_filled": sum(len(session.people) for session in plan),
            "umpires_wrong": int((self.times.sum(axis=1) > 0).sum()) if self.times.size else 0,
            "wrong_seen": int(self.times.sum()),
            **self._effect_cells(whole),
            "share_removed_rules": self.clinics.share_removed_rules,
            "share_removed_practice": self.clinics.share_removed_practice,
            "share_removed_off": self.clinics.share_removed_off,
        }

    def _knowing(self, umpires: Iterable[str], topic: str) -> Row:
        counts = Counter(self.state(umpire, topic) for umpire in umpires)
        return {state: counts[state] for state in KNOWLEDGE}

    def _subject_row(
        self, number: int, place: int, k: int, people: NDArray[np.int64], effect: Effect, own: OwnMisrulings
    ) -> Row:
        topic = self.topics[k]
        codes, strata = own.commonest([self.umpires[one] for one in people], topic)
        return {
            "session": number,
            "place": place,
            "topic": topic,
            "area": next(row["area"] for row in self.kinds if row["topic"] == topic),
            "form": "field" if self.judged[topic] >= BY_EYE else "room",
            "attendees": len(people),
            "times": int(self.times[people, k].sum()),
            "chances": int(self.chances[people, k].sum()),
            "season_times": int(self.times[:, k].sum()),
            "season_chances": int(self.chances[:, k].sum()),
            **self._effect_cells(effect),
            "judged_share": self.judged[topic],
            **self._knowing((self.umpires[one] for one in people), topic),
            "misruling_codes": ";".join(codes),
            "strata": ";".join(strata),
        }

    def _attendee_rows(
        self, number: int, session: Session, k: int, people: NDArray[np.int64], own: OwnMisrulings
    ) -> list[Row]:
        topic, rates = self.topics[k], self.rates[k]
        order = {place: rank for rank, place in enumerate(session.people, 1)}
        rows = []
        for one in people.tolist():
            umpire = self.umpires[one]
            right, answers = self.answers.get((umpire, topic), (0, 0))
            wrong = float(rates.mean[one] * self.chances[one, k])
            rows.append(
                {
                    "session": number,
                    "umpire_id": umpire,
                    "topic": topic,
                    "place": order[one],
                    "times": int(self.times[one, k]),
                    "chances": int(self.chances[one, k]),
                    "rate": float(rates.mean[one]),
                    "season_rate": float(self.times[:, k].sum() / self.chances[:, k].sum()),
                    "expected_wrong": wrong,
                    "removed": wrong * float(self.shares[one, k]),
                    "knowledge": self.state(umpire, topic),
                    "answers": answers,
                    "right_answers": right,
                    **own.cells(umpire, topic),
                }
            )
        return rows

    def _target_rows(self) -> list[Row]:
        """Return every misruling with what a session on it alone removes, its seats filled by those who gain most."""
        known = {row["misruling_code"]: row for row in self.store.records("SELECT * FROM scores.misruling")}
        made = defaultdict[str, list[Row]](list)
        for row in self.store.records("SELECT umpire_id, misruling_code, times FROM scores.umpire_misruling"):
            made[row["misruling_code"]].append(row)
        could = defaultdict[str, list[Row]](list)
        for row in self._records("misruling_chance"):
            if row["misruling_code"] in known and row["umpire_id"] in self.place:
                could[row["misruling_code"]].append(row)
        judged, weights = self._judged("misruling_code", known), self._weights("misruling_code")
        rows = [self._target_row(one, made[code], could[code], judged[code], weights.get(code, 0.0))
                for code, one in known.items()]  # fmt: skip
        rows.sort(key=lambda row: (-row["weighted"], -row["removed"], row["misruling_code"]))
        return [{**row, "place": place} for place, row in enumerate(rows, 1)]

    def _target_row(self, one: Row, made: list[Row], could: list[Row], judged: float, weight: float) -> Row:
        times, chances = np.zeros(len(self.umpires)), np.zeros(len(self.umpires))
        for row in could:
            chances[self.place[row["umpire_id"]]] = row["chances"]
        for row in made:
            if row["umpire_id"] in self.place:
                times[self.place[row["umpire_id"]]] = row["times"]
        # One name may stand for parts of several right answers: what occurred could occur.
        chances = np.maximum(chances, times)
        rates = shrunk_rates(times, chances)
        shares = self._shares(one["topic"], judged)
        gain = np.where(times > 0, rates.mean * chances * shares, 0.0)
        order = np.lexsort((np.arange(len(gain)), -gain))[: self.clinics.seats]
        people = order[gain[order] > 0].astype(np.int64)
        effect = effect_of(rates, chances, shares, people)
        return {
            "misruling_code": one["misruling_code"],
            "seats_filled": len(people),
            **self._effect_cells(effect),
            "weighted": effect.removed * weight,
            "judged_share": judged,
            **self._knowing((row["umpire_id"] for row in made), one["topic"]),
        }
