"""The calls of one umpire as a ledger: each with its ruling, the reason, the rules, and where it is written."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache
from itertools import groupby
from operator import itemgetter

from markupsafe import Markup

from pipeline.config import AREA_TITLES
from reports.blocks import Block, Inline, Ledger, Link, Page, Paragraph, Section
from reports.book import Person, Row
from reports.drawing import entry_html, escaped, inline_text, lines_html, verdict_html
from reports.links import SiteLinks
from reports.naming import anchor, slug
from reports.pages.call_index import index_sections, summary_section, ways
from reports.pages.patterns import pattern_line
from reports.pages.rules import rules_table
from reports.parts import LEDGER_CALLS, WHOLE, in_parts, part_file
from reports.words import (
    CODES,
    CONFIDENCES,
    CONSEQUENCES,
    GRADE_ORDER,
    GRADES,
    day,
    number,
    percent,
    plain_names,
    plural,
    sentence,
    topic,
)

_WRONG_FIRST = "Wrong calls come first, then what could not be decided, then those that were right."
_LEAD = "Every call as it was written down, what the rules make of those facts, and why. "


def calls_pages(
    person: Person, calls: Sequence[Row], links: SiteLinks, folder: str, own_rules: Sequence[Row] = ()
) -> Iterator[Page]:
    """Yield the pages of the ledger of an umpire's calls; `folder` is where they lie, empty or ending in a slash.

    A short ledger is one page. A long one is parted by games: the first page lists every call by area and grade, and
    leads to the pages on which the calls stand in full. `own_rules` are the words of rules that a packet carries
    with it; they stand on the first page.
    """
    trail = [Link(person.name, "index.html")]
    if not links.private:
        trail.insert(0, Link("Readiness board", f"{links.root}index.html"))
    nav = WHOLE if links.private else "index.html"
    parts = list(in_parts(calls, LEDGER_CALLS))
    areas = [area for area in AREA_TITLES if any(call["area"] == area for call in calls)]
    areas += sorted({call["area"] for call in calls} - set(areas))
    sections = [summary_section(areas, calls)]
    if len(parts) > 1:
        lead = [_LEAD + "This page lists them all by area; each stands in full among the calls of its game."]
        sections += index_sections(areas, parts, links)
    else:
        lead = [_LEAD + _WRONG_FIRST]
        sections += [_area_section(area, [call for call in calls if call["area"] == area], links) for area in areas]
    if own_rules:
        rules = rules_table("own-rules", "The rules in our own words; the rule books decide", own_rules)
        sections.append(Section("rules", "Rules used in these calls", [rules]))
    yield Page(f"{folder}{WHOLE}", f"Calls of {person.name}", lead, sections, trail, nav)
    if len(parts) > 1:
        for number, inside in parts:
            yield Page(
                f"{folder}{part_file(number)}",
                f"Calls of {person.name}, part {number} of {len(parts)}",
                _part_lead(number, len(parts), inside),
                [_game_section(game, found, links) for game, found in _by_game(inside)],
                [*trail, Link("All calls", WHOLE)],
                nav,
            )


def _part_lead(number: int, parts: int, calls: Sequence[Row]) -> list[Inline]:
    first, last = calls[0]["game_on"], calls[-1]["game_on"]
    span = day(first) if first == last else f"{day(first)} to {day(last)}"
    games = len({call["game_id"] for call in calls})
    lead = [f"{plural(games, 'game')}, {span}, {plural(len(calls), 'call')}. {_WRONG_FIRST} "]
    return [*lead, *ways(number, parts, "All calls by area")]


def _by_game(calls: Sequence[Row]) -> list[tuple[str, list[Row]]]:
    return [(game, list(found)) for game, found in groupby(calls, key=itemgetter("game_id"))]


def _area_section(area: str, calls: Sequence[Row], links: SiteLinks) -> Section:
    return Section(f"area-{slug(area)}", AREA_TITLES.get(area, area), _ledgers(slug(area), calls, links))


def _game_section(game: str, calls: Sequence[Row], links: SiteLinks) -> Section:
    place = anchor("game", game)
    return Section(place, f"{day(calls[0]['game_on'])}, game {game}", _ledgers(place, calls, links))


def _ledgers(place: str, calls: Sequence[Row], links: SiteLinks) -> list[Block]:
    blocks: list[Block] = []
    for grade in GRADE_ORDER:
        found = [call for call in calls if call["verdict"] == grade]
        if found:
            title = f"{GRADES[grade][0]}: {plural(len(found), 'call')}"
            blocks.append(Ledger(f"{place}-{grade}", title, (), [_entry(call, links) for call in found]))
    return blocks or [Paragraph(["No call."])]


def _entry(call: Row, links: SiteLinks) -> Markup:
    """Return a call's entry, ready for the page: a large association has millions, and most of their words are shared."""
    own: list[tuple[str, Sequence[Inline]]] = []
    reads_like = pattern_line(call, links)
    if reads_like:
        own.append(("Reads like", reads_like))
    note = links.free_text(call["note"])
    if note:
        # Somebody's own words are shown as they stand.
        own.append(("Note", [note]))
    if rules := _rules(call, links):
        own.append(("Rules", [rules]))
    pitch = _pitch(call)
    lines = [
        _ruling_lines(call["ruled_text"], call["right_text"], call["because"]),
        _said_lines((("Pitch", pitch),)) if pitch else "",
        _open_lines(call["needs"], call["other_code_note"]),
        lines_html(own),
    ]
    return entry_html(
        anchor("call", call["call_id"]),
        f"{call['call_id']}, {topic(call['topic'])}",
        _verdict(call["verdict"], call["misruling_title"], call["consequence"]),
        Markup("".join(lines)),  # noqa: S704
        _margin(call, links),
    )


@lru_cache(maxsize=4096)
def _verdict(grade: str, misruling: str | None, consequence: str | None) -> Markup:
    """Return the grade with its shape, what was misruled and what it cost."""
    word, mark = GRADES[grade]
    if misruling:
        word = f"{word}: {misruling}"
        if consequence:
            word += f" (costs {CONSEQUENCES[consequence]})"
    return verdict_html(mark, word)


@lru_cache(maxsize=16384)
def _ruling_lines(ruled: str | None, right: str | None, because: str | None) -> Markup:
    """Return what was ruled and what is right: thousands of calls share the same words."""
    return _said_lines((("Ruled", ruled), ("Right", right), ("Because", plain_names(because or ""))))


@lru_cache(maxsize=4096)
def _open_lines(needs: str | None, other_code_note: str | None) -> Markup:
    """Return which facts are missing, and how another code would rule."""
    return _said_lines((("Missing", _missing(needs)), ("Elsewhere", _elsewhere(other_code_note))))


def _said_lines(lines: Iterable[tuple[str, str | None]]) -> Markup:
    return lines_html((label, [sentence(text)]) for label, text in lines if text)


def _pitch(call: Row) -> str | None:
    margin = call["zone_margin_in"]
    if margin is None:
        return None
    side = "inside" if margin >= 0 else "outside"
    text = f"{number(abs(margin), 1)} in {side} the boundary of the zone"
    if call["p_right"] is not None:
        text += f"; chance that the call was right {percent(call['p_right'], 0)}"
    return text


def _missing(needs: str | None) -> str | None:
    return needs.replace("_", " ").replace(";", ", ") if needs else None


def _elsewhere(note: str | None) -> str | None:
    if not note:
        return None
    for code, title in CODES.items():
        note = note.replace(f"{code}: ", f"{title}: ")
    return f"another code would rule otherwise ({note})"


def _rules(call: Row, links: SiteLinks) -> Markup:
    """Return the rules of a call, ready for the page; calls of one kind have the same."""
    key = (links.place, call["rule_ids"], call["rule_refs"], call["confidence"])
    kept = links.atlas.kept
    if key not in kept:
        kept[key] = Markup(inline_text(_rule_parts(call, links)))  # noqa: S704
    return kept[key]


def _rule_parts(call: Row, links: SiteLinks) -> list[Inline]:
    parts: list[Inline] = []
    for rule_id in (call["rule_ids"] or "").split(";"):
        if rule_id:
            parts += [", "] if parts else []
            parts.append(links.rule(rule_id))
    if call["rule_refs"]:
        parts.append(f"{' – ' if parts else ''}{call['rule_refs']}")
    if call["confidence"] and parts:
        parts.append(f" ({CONFIDENCES[call['confidence']]})")
    return parts


def _margin(call: Row, links: SiteLinks) -> str:
    """Return where the call was and where it is written, ready for the page."""
    told = []
    if call["inning"] is not None:
        told.append(f"inning {call['inning']}")
    if call["outs"] is not None:
        told.append(plural(call["outs"], "out"))
    if call["balls"] is not None and call["strikes"] is not None:
        told.append(f"{call['balls']}–{call['strikes']}")
    when = f"{day(call['game_on'])}, game {call['game_id']}" + (f": {', '.join(told)}. " if told else ". ")
    where = f"{links.sheet(call['path'], call['sheet'], call['line_no'])}. "
    if call["evaluator_grade"]:
        said = call["evaluator_grade"].replace("_", " ")
        where += f"The evaluator wrote {said}{_AGREED[call['evaluator_agrees']]}."
    who = links.evaluator(call["evaluator_id"])
    named = f"{inline_text([who])}, " if who else ""
    return f"{escaped(when)}{named}{escaped(where)}"


_AGREED = {True: ", and the rules agree", False: ", and the rules do not", None: ""}
