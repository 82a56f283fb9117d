"""Name what went wrong in a call, and count it: codes, titles and what each costs."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pipeline.config import CONSEQUENCES, TOPIC_TITLES
from pipeline.scoring.intervals import wilson
from pipeline.scoring.tables import Row

# The part that explains the others comes first. On a taken pitch that is ball or strike; elsewhere the
# batter's fate.
_PLACES = ("batter", "runner_out", "runners", "pitch", "ball_status", "choice", "instruct")

_PHRASES = {
    ("pitch", "no_pitch"): "no pitch",
    ("pitch", "in_play"): "in play",
    ("ball_status", "live"): "ball live",
    ("ball_status", "dead"): "ball dead",
    ("ball_status", "delayed_dead"): "delayed dead ball",
    ("batter", "at_bat"): "batter stays at bat",
    ("batter", "out"): "batter out",
    ("batter", "first_base"): "batter to first base",
    ("batter", "batter_runner"): "batter becomes a runner",
    ("runners", "as_played"): "runners as played",
    ("runners", "return"): "runners return",
    ("runners", "forced"): "forced runners advance",
    ("runners", "forced_and_stealing"): "forced and stealing runners advance",
    ("runners", "advance_one"): "all runners advance one base",
    ("runner_out", "none"): "no runner out",
    ("runner_out", "home"): "runner going home out",
    ("runner_out", "played_on"): "runner played on out",
    ("choice", "none"): "no choice of the play",
    ("choice", "offence"): "offence may take the play",
    ("choice", "defence"): "defence may take the play",
    ("instruct", "none"): "nothing further",
    ("instruct", "direct_batter"): "direct the batter",
    ("instruct", "warn"): "warn",
    ("instruct", "restrict_coach"): "restrict the coach",
    ("instruct", "eject"): "eject",
    ("instruct", "start_over"): "start over",
    ("instruct", "ask_partner"): "ask the partner",
}

_PITCH_NAMES = {
    ("strike", "ball", "any"): ("called_strike_on_ball", "Ball called a strike", "count"),
    ("ball", "strike", "any"): ("called_ball_on_strike", "Strike called a ball", "count"),
    ("strike", "ball", "strike_three"): ("strike_three_on_ball", "Ball called strike three", "out"),
    ("ball", "strike", "strike_three"): ("ball_on_strike_three", "Strike three called a ball", "out"),
    ("strike", "ball", "ball_four"): ("strike_on_ball_four", "Ball four called a strike", "base"),
    ("ball", "strike", "ball_four"): ("ball_four_on_strike", "Strike called ball four", "base"),
}


@dataclass(frozen=True)
class MisrulingName:
    """A misruling: code, title for a page, consequence class, place among the parts of one call."""

    code: str
    title: str
    consequence: str
    place: int


def name_misruling(topic: str, component: str, ruled: str, right_value: str, stake: str = "any") -> MisrulingName:
    """Return the name of one wrong part of a call.

    Parameters
    ----------
    topic
        Of the call, as in the facts.
    component
        The part that was wrong: `pitch`, `ball_status`, `batter`, ...
    ruled, right_value
        What the umpire ruled, and what was right; several right values are joined by `|`.
    stake
        For ball or strike on a taken pitch: `strike_three` with two strikes, `ball_four` with three balls,
        else `any`.

    Notes
    -----
    Classes: `count` (a ball or strike, or a word to the batter), `base` (a base, a runner, or the ball's
    status on which runners depend), `out` (an out given or taken away), `safety` (a bat that has to go, a
    restriction or an ejection: missed, or laid on without ground).
    """
    place = _PLACES.index(component) if component in _PLACES else len(_PLACES)
    if component == "pitch" and topic in ("pitch", "third_strike"):
        place = -1
        named = _PITCH_NAMES.get((ruled, right_value, stake))
        if named:
            return MisrulingName(f"pitch.{named[0]}", named[1], named[2], place)
    values = {ruled, *right_value.split("|")}
    if component == "runner_out" or (component == "batter" and "out" in values):
        consequence = "out"
    elif component == "pitch":
        consequence = "count"
    elif component == "instruct":
        duty = topic == "bat" or bool(values & {"restrict_coach", "eject"})
        consequence = "safety" if duty else "count"
    else:
        consequence = "base"
    right_code = "_or_".join(right_value.split("|"))
    title = (
        f"{TOPIC_TITLES.get(topic, topic.replace('_', ' ').capitalize())}: "
        f"ruled {_phrase(component, ruled)}, "
        f"right: {' or '.join(_phrase(component, value) for value in right_value.split('|'))}"
    )
    return MisrulingName(f"{topic}.{component}.{ruled}_for_{right_code}", title, consequence, place)


def _phrase(component: str, value: str) -> str:
    return _PHRASES.get((component, value), value.replace("_", " "))


def name_rows(cases: Sequence[Row]) -> list[dict[str, Any]]:
    """Return the rows of `scores.misruling_name` for distinct wrong cases."""
    rows = []
    for case in cases:
        name = name_misruling(case["topic"], case["component"], case["ruled"], case["right_value"], case["stake"])
        rows.append(
            {
                **case,
                "misruling_code": name.code,
                "title": name.title,
                "consequence": name.consequence,
                "place": name.place,
            }
        )
    return rows


def misruling_rows(
    names: Sequence[Row],
    times: Sequence[Row],
    chances: Sequence[Row],
    examples: Sequence[Row],
    weights: Mapping[str, float],
    area_of_topic: Mapping[str, str],
    coverage: float,
) -> list[dict[str, object]]:
    """Return one row per misruling that was the name of a wrong call, most worth a clinic first.

    `clinic_score` is times x consequence weight x share of umpires (of those who had the chance) who made it:
    what a session on it could save, more when it is everybody's mistake than when it is one person's.
    """
    known = {row["misruling_code"]: row for row in sorted(names, key=lambda row: str(row["right_value"]))}
    total, umpires = Counter[str](), Counter[str]()
    for row in times:
        total[row["misruling_code"]] += row["times"]
        umpires[row["misruling_code"]] += 1
    chance, exposed = Counter[str](), Counter[str]()
    for row in chances:
        chance[row["misruling_code"]] += row["chances"]
        exposed[row["misruling_code"]] += 1
    calls: dict[str, list[Row]] = defaultdict(list)
    for row in examples:
        calls[row["misruling_code"]].append(row)
    rows = []
    for code in sorted(total):
        name = known[code]
        share = umpires[code] / max(exposed[code], 1)
        weight = weights[name["consequence"]]
        low, high = wilson(total[code], max(chance[code], total[code]), coverage)
        # One name may serve two topics (a strike called a ball is one on any pitch): the commoner one places it.
        topics = Counter(row["topic"] for row in calls[code])
        topic = min(topics, key=lambda text: (-topics[text], text)) if topics else name["topic"]
        reasons = Counter(row["because"] for row in calls[code] if row["because"])
        references = {
            part.strip() for row in calls[code] for part in (row["rule_refs"] or "").split(";") if part.strip()
        }
        rows.append(
            {
                "misruling_code": code,
                "title": name["title"],
                "topic": topic,
                "area": area_of_topic.get(topic, "other_rulings"),
                "consequence": name["consequence"],
                "consequence_weight": weight,
                "times": total[code],
                "umpires": umpires[code],
                "chances": chance[code],
                "rate": total[code] / max(chance[code], total[code]),
                "rate_low": low,
                "rate_high": high,
                "umpire_share": share,
                "clinic_score": total[code] * weight * share,
                # The commonest reason; of equally common ones the first in the alphabet, so that a rerun
                # agrees.
                "explanation": min(reasons, key=lambda text: (-reasons[text], text)) if reasons else None,
                "rule_refs": "; ".join(sorted(references)) or None,
                "example_call_ids": ";".join(row["call_id"] for row in calls[code][:5]),
            }
        )
    return sorted(rows, key=lambda row: (-row["clinic_score"], row["misruling_code"]))


def level_rows(times: Sequence[Row], chances: Sequence[Row], level_of: Mapping[str, str]) -> list[dict[str, object]]:
    """Return times and chances of each misruling by the level that the umpires now work."""
    done, could = Counter[tuple[str, str]](), Counter[tuple[str, str]]()
    for row in times:
        done[level_of.get(row["umpire_id"], ""), row["misruling_code"]] += row["times"]
    for row in chances:
        could[level_of.get(row["umpire_id"], ""), row["misruling_code"]] += row["chances"]
    return [
        {"level": level, "misruling_code": code, "times": done[level, code], "chances": could[level, code]}
        for level, code in sorted(could)
    ]


def exceeded(limits: Mapping[str, int], made: Mapping[str, int]) -> list[tuple[str, int, int]]:
    """Return (class, times, limit) for each consequence class with more misrulings than allowed."""
    return [
        (name, made.get(name, 0), limits[name]) for name in CONSEQUENCES if made.get(name, 0) > limits.get(name, 10**9)
    ]
