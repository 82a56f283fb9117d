"""The calls of one umpire as a ledger: each with its ruling, the reason, the rules, and where it is written."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.config import AREA_TITLES
from reports.blocks import Block, Cell, Column, Entry, Inline, Ledger, Link, Page, Paragraph, Section, Table
from reports.book import Person, Row
from reports.links import SiteLinks
from reports.naming import anchor, slug
from reports.pages.patterns import pattern_line
from reports.pages.rules import rules_table
from reports.words import (
    CODES,
    CONFIDENCES,
    CONSEQUENCES,
    GRADE_ORDER,
    GRADES,
    count,
    day,
    num,
    number,
    percent,
    plain_names,
    plural,
    sentence,
    topic,
)


def calls_page(
    person: Person, calls: Sequence[Row], links: SiteLinks, path: str, own_rules: Sequence[Row] = ()
) -> Page:
    """Make the ledger of an umpire's calls; `own_rules` are the words of rules that a packet carries with it."""
    areas = [area for area in AREA_TITLES if any(call["area"] == area for call in calls)]
    areas += sorted({call["area"] for call in calls} - set(areas))
    sections = [_summary(areas, calls)]
    sections += [_area_section(area, [call for call in calls if call["area"] == area], links) for area in areas]
    if own_rules:
        sections.append(
            Section(
                "rules",
                "Rules used in these calls",
                [rules_table("own-rules", "The rules in our own words; the rule books decide", own_rules)],
            )
        )
    trail = [Link(person.name, "index.html")]
    if not links.private:
        trail.insert(0, Link("Readiness board", f"{links.root}index.html"))
    return Page(
        path=path,
        title=f"Calls of {person.name}",
        lead=[
            "Every call as it was written down, what the rules make of those facts, and why. Wrong calls come first, "
            "then what could not be decided, then those that were right."
        ],
        sections=sections,
        trail=trail,
        nav="calls.html" if links.private else "index.html",
    )


def _summary(areas: Sequence[str], calls: Sequence[Row]) -> Section:
    columns = [Column("Area"), *(Column(GRADES[grade][0], "num") for grade in GRADE_ORDER), Column("All", "num")]
    rows = []
    for area in areas:
        row = [Cell(AREA_TITLES.get(area, area), href=f"#area-{slug(area)}")]
        inside = [call for call in calls if call["area"] == area]
        for grade in GRADE_ORDER:
            size = sum(call["verdict"] == grade for call in inside)
            row.append(Cell(count(size), href=f"#{slug(area)}-{grade}" if size else None, sort=size))
        rows.append([*row, num(len(inside), count(len(inside)))])
    table = Table("summary-table", "Calls by area and grade", columns, rows, empty="No call was accepted.")
    return Section(
        "summary",
        "How many of which",
        [table],
        margin=["Edge pitches and open calls count neither for nor against anybody."],
    )


def _area_section(area: str, calls: Sequence[Row], links: SiteLinks) -> Section:
    blocks: list[Block] = []
    for grade in GRADE_ORDER:
        found = [call for call in calls if call["verdict"] == grade]
        if found:
            title = f"{GRADES[grade][0]}: {plural(len(found), 'call')}"
            blocks.append(Ledger(f"{slug(area)}-{grade}", title, [_entry(call, links) for call in found]))
    if not blocks:
        blocks = [Paragraph(["No call."])]
    return Section(f"area-{slug(area)}", AREA_TITLES.get(area, area), blocks)


def _entry(call: Row, links: SiteLinks) -> Entry:
    word, mark = GRADES[call["verdict"]]
    if call["misruling_title"]:
        word = f"{word}: {call['misruling_title']}"
        if call["consequence"]:
            word += f" (costs {CONSEQUENCES[call['consequence']]})"
    lines: list[tuple[str, Sequence[Inline]]] = []
    for label, text in (
        ("Ruled", call["ruled_text"]),
        ("Right", call["right_text"]),
        ("Because", plain_names(call["because"] or "")),
        ("Pitch", _pitch(call)),
        ("Missing", _missing(call["needs"])),
        ("Elsewhere", _elsewhere(call["other_code_note"])),
    ):
        if text:
            lines.append((label, [sentence(text)]))
    reads_like = pattern_line(call, links)
    if reads_like:
        lines.append(("Reads like", reads_like))
    note = links.free_text(call["note"])
    if note:
        # Somebody's own words are shown as they stand.
        lines.append(("Note", [note]))
    rules = _rules(call, links)
    if rules:
        lines.append(("Rules", rules))
    return Entry(
        anchor("call", call["call_id"]),
        f"{call['call_id']}, {topic(call['topic'])}",
        mark,
        word,
        lines,
        _margin(call, links),
    )


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


def _rules(call: Row, links: SiteLinks) -> list[Inline]:
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


def _margin(call: Row, links: SiteLinks) -> list[Inline]:
    told = []
    if call["inning"] is not None:
        told.append(f"inning {call['inning']}")
    if call["outs"] is not None:
        told.append(plural(call["outs"], "out"))
    if call["balls"] is not None and call["strikes"] is not None:
        told.append(f"{call['balls']}–{call['strikes']}")
    parts: list[Inline] = [
        f"{day(call['game_on'])}, game {call['game_id']}" + (f": {', '.join(told)}. " if told else ". ")
    ]
    who = links.evaluator(call["evaluator_id"])
    if who:
        parts += [who, ", "]
    parts.append(f"{links.sheet(call['path'], call['sheet'], call['line_no'])}. ")
    if call["evaluator_grade"]:
        said = call["evaluator_grade"].replace("_", " ")
        agreed = {True: ", and the rules agree", False: ", and the rules do not", None: ""}[call["evaluator_agrees"]]
        parts.append(f"The evaluator wrote {said}{agreed}.")
    return parts
