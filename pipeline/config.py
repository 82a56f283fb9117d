"""The run's settings: one frozen object made from the command line and the season's `policy.toml`."""

from __future__ import annotations

import datetime as dt
import difflib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pipeline.errors import ConfigError, InputError, Where

AREAS = ("pitches", "batters_box", "hit_batter", "other_rulings", "positioning", "quiz")
"""The areas of plate work that a level's standards speak of."""

AREA_TITLES = {
    "pitches": "Balls and strikes",
    "batters_box": "Batter's box",
    "hit_batter": "Hit batter",
    "other_rulings": "Other plate rulings",
    "positioning": "Working the slot",
    "quiz": "Rules quiz",
}

TOPIC_TITLES = {
    "stance": "Stance",
    "illegal_hit": "Illegal hit",
    "hit_batter": "Hit batter",
    "pitch": "Taken pitch",
    "swing": "Swing",
    "batted_ball": "Batted ball",
    "foul_tip": "Foul tip",
    "third_strike": "Third strike",
    "delay": "Delay",
    "batter_interference": "Batter's interference",
    "changing_boxes": "Changing boxes",
    "catcher_interference": "Catcher's interference",
    "bat": "Bat",
    "illegal_pitch": "Illegal pitch",
    "umpire_interference": "Umpire's interference",
    "lodged_or_runner_touched": "Lodged pitch or runner touched",
    "intentional_walk": "Intentional walk",
    "equipment": "Helmet",
    "check_swing": "Checked swing",
}
"""The topics of the rules in words."""

DATE_ORDERS = ("dmy", "mdy")
"""How day and month may stand in a day that is not in ISO form."""

CONSEQUENCES = ("count", "base", "out", "safety")
"""Classes of what a misruling costs, worst last."""


@dataclass(frozen=True)
class Measurement:
    """Standard deviation of a recorded pitch location by its source, in inches, and the edge band.

    A pitch whose probability of being right lies strictly between `edge_low` and `edge_high` is an edge pitch:
    reported apart, never marked wrong.
    """

    tracked_sd_in: float = 0.5
    video_sd_in: float = 1.5
    eye_sd_in: float = 3.0
    edge_low: float = 0.1
    edge_high: float = 0.9


@dataclass(frozen=True)
class Evidence:
    """The least that must have been seen before a verdict is given."""

    games: int = 3
    calls: int = 150
    evaluators: int = 2


@dataclass(frozen=True)
class Level:
    """A level of play, lowest first in the policy: its standards, evidence, and the risks accepted.

    `standards` maps an area to the least adjusted rate (0 to 1). `risk_ready` is the accepted probability that
    someone called ready is below a standard; `risk_not_yet` the accepted probability that someone told
    "not yet" is at all of them. `disqualifying` maps a consequence class to the most misrulings of it allowed.
    """

    id: str
    title: str
    standards: Mapping[str, float]
    evidence: Evidence = field(default_factory=Evidence)
    risk_ready: float = 0.1
    risk_not_yet: float = 0.1
    disqualifying: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class Clinics:
    """What the clinics may cost, and what they are supposed to do.

    The two shares are assumptions without a source: what part of an umpire's wrong rulings on a subject a session
    takes away, where he does not know the rule (`share_removed_rules`), and where he knows it or it is a matter of the
    eye (`share_removed_practice`). Each may be off by `share_removed_off` of itself, up or down. `avoid` are
    sheets of quiz items, relative to the policy, whose questions no case play may ask.
    """

    sessions: int = 4
    seats: int = 12
    subjects: int = 2
    plays: int = 6
    sessions_a_person: int = 2
    share_removed_rules: float = 0.4
    share_removed_practice: float = 0.2
    share_removed_off: float = 0.5
    avoid: tuple[str, ...] = ()


@dataclass(frozen=True)
class Policy:
    """What the committee decided before the season: dates, levels, weights, interval width, seed.

    `rule_options` are the points that the rules leave to the league, by name; the rules core knows which there are.
    `date_order` is `dmy` or `mdy` where the season says how days like 3/4/2026 are meant.
    """

    title: str
    association: str
    first_day: dt.date | None
    last_day: dt.date | None
    levels: tuple[Level, ...]
    measurement: Measurement = field(default_factory=Measurement)
    consequence_weights: Mapping[str, float] = field(
        default_factory=lambda: {"count": 1.0, "base": 3.0, "out": 5.0, "safety": 8.0}
    )
    interval: float = 0.90
    draws: int = 4000
    seed: int = 20260301
    rule_options: Mapping[str, str] = field(default_factory=dict)
    date_order: str | None = None
    clinics: Clinics = field(default_factory=Clinics)

    def level(self, level_id: str) -> Level | None:
        """Return the level of that id, or None."""
        return next((level for level in self.levels if level.id == level_id), None)

    def level_above(self, level_id: str) -> Level | None:
        """Return the level that someone now working `level_id` is judged for; the highest judges itself."""
        ids = [level.id for level in self.levels]
        if level_id not in ids:
            return None
        return self.levels[min(ids.index(level_id) + 1, len(ids) - 1)]


@dataclass(frozen=True)
class RunConfig:
    """Everything a step may depend on besides the store."""

    season: Path
    out: Path
    policy: Policy
    policy_path: Path | None = None
    show_progress: bool = False

    @property
    def store_path(self) -> Path:
        """Where the season store lies."""
        return self.out / "season.duckdb"


_KEYS: dict[str, set[str]] = {
    "": {"season", "measurement", "consequence_weights", "scoring", "rule_options", "reading", "clinics", "levels"},
    "season": {"title", "association", "first_day", "last_day"},
    "measurement": {"tracked_sd_in", "video_sd_in", "eye_sd_in", "edge_low", "edge_high"},
    "consequence_weights": set(CONSEQUENCES),
    "scoring": {"interval", "draws", "seed"},
    "reading": {"date_order"},
    "clinics": {
        "sessions", "seats", "subjects", "plays", "sessions_a_person", "share_removed_rules",
        "share_removed_practice", "share_removed_off", "avoid",
    },
    "levels": {"id", "title", "standards", "evidence", "risk_ready", "risk_not_yet", "disqualifying"},
    "levels.standards": set(AREAS),
    "levels.evidence": {"games", "calls", "evaluators"},
    "levels.disqualifying": set(CONSEQUENCES),
}


class _Reader:
    """Checks every key and value of a policy file, and remembers all faults instead of stopping at the first."""

    def __init__(self, path: Path, text: str) -> None:
        self.path = path
        self.lines = text.splitlines()
        self.faults: list[ConfigError] = []

    def fault(self, message: str, key: str, hint: str) -> None:
        line = next((i for i, t in enumerate(self.lines, 1) if t.split("=")[0].strip(" []") == key), None)
        self.faults.append(ConfigError(message, where=Where(self.path, line), hint=hint))

    def section(self, raw: Any, section: str, *, any_key: bool = False) -> dict[str, Any]:
        if not isinstance(raw, dict):
            self.fault(
                f"{section!r} must be a section",
                section.rsplit(".", 1)[-1],
                f"write [{section}] and keys under it",
            )
            return {}
        for key in raw:
            if not any_key and key not in _KEYS[section]:
                near = difflib.get_close_matches(key, sorted(_KEYS[section]), n=1)
                hint = (
                    f"did you mean {near[0]!r}?"
                    if near
                    else f"allowed are: {', '.join(sorted(_KEYS[section]))}"
                )
                self.fault(f"unknown setting {key!r} in {section or 'the policy'}", key, hint)
        return raw

    def number(self, raw: Mapping[str, Any], key: str, default: float, low: float, high: float) -> float:
        value = raw.get(key, default)
        if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
            self.fault(f"{key} = {value!r} is not a number from {low:g} to {high:g}", key, "mend the value")
            return default
        return float(value)

    def whole(self, raw: Mapping[str, Any], key: str, default: int, low: int = 0, high: int = 10**9) -> int:
        value = raw.get(key, default)
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            self.fault(f"{key} = {value!r} is not a whole number from {low} to {high}", key, "mend the value")
            return default
        return value

    def text(self, raw: Mapping[str, Any], key: str, default: str) -> str:
        value = raw.get(key, default)
        if not isinstance(value, str):
            self.fault(f"{key} = {value!r} is not text", key, "put it in quotation marks")
            return default
        return value

    def one_of(self, raw: Mapping[str, Any], key: str, allowed: tuple[str, ...]) -> str | None:
        value = raw.get(key)
        if value is None or value in allowed:
            return value
        said = " or ".join(f'"{item}"' for item in allowed)
        self.fault(f"{key} = {value!r} is not understood", key, f"write {said}, or take the setting out")
        return None

    def day(self, raw: Mapping[str, Any], key: str) -> dt.date | None:
        value = raw.get(key)
        if value is None or (isinstance(value, dt.date) and not isinstance(value, dt.datetime)):
            return value
        self.fault(f"{key} = {value!r} is not a date", key, "write it as 2026-03-01, without quotation marks")
        return None

    def texts(self, raw: Mapping[str, Any], key: str) -> tuple[str, ...]:
        value = raw.get(key, [])
        if isinstance(value, list) and all(isinstance(item, str) for item in value):
            return tuple(value)
        self.fault(f"{key} = {value!r} is not a list of texts", key, 'write it as ["one.csv", "other.csv"]')
        return ()

    def clinics(self, raw: Any) -> Clinics:
        raw = self.section(raw, "clinics")
        default = Clinics()
        return Clinics(
            sessions=self.whole(raw, "sessions", default.sessions, 0, 200),
            seats=self.whole(raw, "seats", default.seats, 1, 500),
            subjects=self.whole(raw, "subjects", default.subjects, 1, 6),
            plays=self.whole(raw, "plays", default.plays, 0, 40),
            sessions_a_person=self.whole(raw, "sessions_a_person", default.sessions_a_person, 1, 50),
            share_removed_rules=self.number(raw, "share_removed_rules", default.share_removed_rules, 0, 1),
            share_removed_practice=self.number(raw, "share_removed_practice", default.share_removed_practice, 0, 1),
            share_removed_off=self.number(raw, "share_removed_off", default.share_removed_off, 0, 1),
            avoid=self.texts(raw, "avoid"),
        )

    def level(self, raw: Any, number: int) -> Level:
        raw = self.section(raw, "levels")
        name = self.text(raw, "id", f"level_{number}")
        standards = self.section(raw.get("standards", {}), "levels.standards")
        evidence = self.section(raw.get("evidence", {}), "levels.evidence")
        disqualifying = self.section(raw.get("disqualifying", {}), "levels.disqualifying")
        return Level(
            id=name,
            title=self.text(raw, "title", name),
            standards={
                area: self.number(standards, area, 0.0, 0.0, 1.0) for area in AREAS if area in standards
            },
            evidence=Evidence(
                games=self.whole(evidence, "games", Evidence.games),
                calls=self.whole(evidence, "calls", Evidence.calls),
                evaluators=self.whole(evidence, "evaluators", Evidence.evaluators),
            ),
            risk_ready=self.number(raw, "risk_ready", 0.1, 0.0, 0.5),
            risk_not_yet=self.number(raw, "risk_not_yet", 0.1, 0.0, 0.5),
            disqualifying={c: self.whole(disqualifying, c, 0) for c in CONSEQUENCES if c in disqualifying},
        )


def read_policy(path: Path) -> Policy:
    """Read and check `policy.toml`.

    Raises
    ------
    ConfigError
        The file cannot be read, or a setting is unknown or out of range; every fault is listed with its line.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
        raw = tomllib.loads(text)
    except UnicodeDecodeError as error:
        raise ConfigError(
            "the policy is not a text file in UTF-8", where=Where(path), hint="save it as UTF-8"
        ) from error
    except tomllib.TOMLDecodeError as error:
        raise ConfigError(
            f"the policy is not valid TOML: {error}", where=Where(path), hint="mend that line"
        ) from error
    except OSError as error:
        raise InputError(f"the policy cannot be read: {error.strerror}", where=Where(path)) from error
    reader = _Reader(path, text)
    reader.section(raw, "")
    season = reader.section(raw.get("season", {}), "season")
    measurement = reader.section(raw.get("measurement", {}), "measurement")
    weights = reader.section(raw.get("consequence_weights", {}), "consequence_weights")
    scoring = reader.section(raw.get("scoring", {}), "scoring")
    options = reader.section(raw.get("rule_options", {}), "rule_options", any_key=True)
    reading = reader.section(raw.get("reading", {}), "reading")
    levels_raw = raw.get("levels", [])
    if not isinstance(levels_raw, list) or not levels_raw:
        reader.fault(
            "the policy names no levels",
            "levels",
            "write one [[levels]] section for each level, lowest first",
        )
        levels_raw = []
    levels = tuple(reader.level(item, number) for number, item in enumerate(levels_raw, 1))
    ids = [level.id for level in levels]
    for name in sorted({name for name in ids if ids.count(name) > 1}):
        reader.fault(f"level {name!r} stands twice", "id", "give each level an id of its own")
    first, last = season.get("first_day"), season.get("last_day")
    if isinstance(first, dt.date) and isinstance(last, dt.date) and str(first) > str(last):
        reader.fault(f"the season's last day {last} comes before its first, {first}", "last_day", "mend one of the two")
    default = Measurement()
    policy = Policy(
        title=reader.text(season, "title", path.parent.name),
        association=reader.text(season, "association", ""),
        first_day=reader.day(season, "first_day"),
        last_day=reader.day(season, "last_day"),
        levels=levels,
        measurement=Measurement(
            tracked_sd_in=reader.number(measurement, "tracked_sd_in", default.tracked_sd_in, 0.01, 12),
            video_sd_in=reader.number(measurement, "video_sd_in", default.video_sd_in, 0.01, 12),
            eye_sd_in=reader.number(measurement, "eye_sd_in", default.eye_sd_in, 0.01, 12),
            edge_low=reader.number(measurement, "edge_low", default.edge_low, 0, 0.5),
            edge_high=reader.number(measurement, "edge_high", default.edge_high, 0.5, 1),
        ),
        consequence_weights={
            name: reader.number(weights, name, value, 0, 1000)
            for name, value in {"count": 1.0, "base": 3.0, "out": 5.0, "safety": 8.0}.items()
        },
        interval=reader.number(scoring, "interval", 0.90, 0.5, 0.999),
        draws=reader.whole(scoring, "draws", 4000, 100, 100_000),
        seed=reader.whole(scoring, "seed", 20260301, 0, 2**32 - 1),
        rule_options={name: reader.text(options, name, "") for name in options},
        date_order=reader.one_of(reading, "date_order", DATE_ORDERS),
        clinics=reader.clinics(raw.get("clinics", {})),
    )
    if len(reader.faults) == 1:
        raise reader.faults[0]
    if reader.faults:
        raise ConfigError("the policy has faults:\n" + "\n".join(f"- {fault}" for fault in reader.faults))
    return policy


def read_config(season: Path, out: Path | None = None, *, show_progress: bool = False) -> RunConfig:
    """Make the run's settings for a season folder; results go to `out`.

    Parameters
    ----------
    season
        The folder with the sheets and, usually, `policy.toml`.
    out
        Where results go; by default a folder `out` in the folder from which the command is run.

    Raises
    ------
    InputError
        The folder does not exist.
    ConfigError
        The policy is missing or at fault.
    """
    if not season.exists():
        raise InputError(
            "there is no such folder", where=Where(season), hint="give the folder that holds the sheets"
        )
    if not season.is_dir():
        raise InputError(
            "this is not a folder", where=Where(season), hint="give the folder that holds the sheets"
        )
    path = season / "policy.toml"
    if not path.exists():
        raise ConfigError(
            "the season has no policy.toml, so no level has a standard",
            where=Where(path),
            hint="write one with `platework blank policy`, then set your levels and standards",
        )
    return RunConfig(
        season=season,
        out=out if out is not None else Path("out"),
        policy=read_policy(path),
        policy_path=path,
        show_progress=show_progress,
    )
