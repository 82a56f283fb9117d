"""Misruled plays told in full: what was ruled, what is right, and the facts that decide."""

from __future__ import annotations

from collections.abc import Sequence

from reports.blocks import Entry, Inline
from reports.book import Row
from reports.clinic_words import subject
from reports.links import SiteLinks
from reports.pages.patterns import pattern_line
from reports.words import CONSEQUENCES, day, plain_names, sentence

_COSTLY = ("safety", "out", "base", "count")


def chosen_plays(wrong: Sequence[Row], most: int) -> list[Row]:
    """Return the plays to tell: each misruling once before any twice, the costliest first, the latest of each."""
    turn: dict[str, int] = {}
    ordered = []
    for call in sorted(wrong, key=lambda call: (call["game_on"], call["call_id"]), reverse=True):
        code = call["misruling_code"] or ""
        turn[code] = turn.get(code, 0) + 1
        cost = _COSTLY.index(call["consequence"]) if call["consequence"] in _COSTLY else len(_COSTLY)
        ordered.append((turn[code], cost, call))
    ordered.sort(key=lambda one: one[:2])
    return [call for *_, call in ordered[:most]]


def play_entry(place: str, call: Row, links: SiteLinks) -> Entry:
    """Tell one misruled play, to the umpire himself in a packet; `place` is its anchor."""
    lines: list[tuple[str, Sequence[Inline]]] = [
        (label, [sentence(text)])
        for label, text in (
            ("You ruled" if links.private else "Ruled", call["ruled_text"]),
            ("Right", call["right_text"]),
            ("Because", links.free_text(plain_names(call["because"] or ""))),
        )
        if text
    ]
    reads_like = pattern_line(call, links)
    if reads_like:
        lines.append(("Reads like", reads_like))
    rules: list[Inline] = []
    for rule in (call["rule_ids"] or "").split(";"):
        if rule:
            rules += [", "] if rules else []
            rules.append(links.rule(rule))
    if rules:
        lines.append(("Rules", rules))
    costs = f"costs {CONSEQUENCES[call['consequence']]}" if call["consequence"] else ""
    heading = call["misruling_title"] or subject(call["topic"])
    return Entry(place, heading, "cross", costs, lines, [day(call["game_on"]), ", ", links.call(call["call_id"])])
