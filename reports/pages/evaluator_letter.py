"""The first page of an evaluator's packet: a letter on the own sheets, with what to do next time."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from reports.blocks import Block, Cell, Column, Entry, Inline, Ledger, Link, Page, Paragraph, Points, Section, Table
from reports.book import Row
from reports.links import SiteLinks, linked_cell
from reports.pages.evaluator_advice import advice, habits
from reports.pages.evaluator_sheet import Sheets, severity_figure
from reports.pages.evaluators import is_apart
from reports.words import (
    CODES,
    GRADES,
    NOTHING,
    count,
    day,
    interval,
    num,
    percent,
    plain_names,
    plural,
    points,
    sentence,
    topic,
)

_PLAYS = 4
_PER_TOPIC = 2


def evaluator_letter(
    sheets: Sheets, links: SiteLinks, certainty: float, season: str, own_rules: Sequence[Row] = ()
) -> Page:
    """Make `index.html` of an evaluator's packet; `own_rules` are the rules that speak against a grade, in words."""
    sections = [
        _severity(sheets, certainty),
        _grades(sheets, links, {rule["rule_id"]: rule["title"] for rule in own_rules}),
        _facts(sheets, links),
        Section("habits", "Habits on the sheet", habits(sheets.health, links)),
        Section("next", "Next time", [Points(advice(sheets, links))]),
        _answer(),
    ]
    return Page(
        path="index.html",
        title=f"Your sheets of {season}",
        lead=_lead(sheets),
        sections=sections if sheets.calls else [_answer()],
        nav="index.html",
    )


def _lead(sheets: Sheets) -> list[Inline]:
    name = sheets.person.name
    if not sheets.calls or sheets.row is None:
        return [f"Dear {name}, no call of yours was accepted this season, so there is nothing to tell you yet."]
    row = sheets.row
    return [
        f"Dear {name}, thank you. You watched {plural(row['games'], 'game')} and wrote down {plural(row['calls'], 'call')} "
        f"of {plural(row['umpires'], 'umpire')}. Each was held against the rules from the facts that you recorded; here is "
        "what came of it and what would help. This packet is yours alone and names nobody else. ",
        Link("The figures", "figures.html"),
        " and ",
        Link("every call", "calls.html"),
        " are behind it.",
    ]


def _severity(sheets: Sheets, certainty: float) -> Section:
    row = sheets.row
    title = "How severe your sheets are"
    if row is None or row["severity_points"] is None:
        return Section("severity", title, [Paragraph(["There is too little yet to tell how severe your sheets are."])])
    blocks: list[Block] = [
        Paragraph([severity_words(row, certainty)]),
        Paragraph([drift_words(row)]),
        Paragraph(
            ["Severity is no fault in itself. It is taken out of every umpire's figures, so nobody gains or loses by your having watched."]
        ),
        severity_figure(row, in_full=False),
    ]
    return Section("severity", title, blocks)


def _amount(value: float) -> str:
    return points(abs(value)).lstrip("+")


def severity_words(row: Row, certainty: float) -> str:
    """Say severity with its interval in words; `certainty` is the share of certainty that the interval has."""
    value, low, high = row["severity_points"], row["severity_low"], row["severity_high"]
    sure = f"{percent(certainty, 0)} sure"
    if not is_apart(low, high):
        return (
            "Your sheets cannot be told from the average evaluator's: with the same umpires and situations the share of "
            f"right calls on them lies between {_amount(low)} points lower and {_amount(high)} points higher ({sure})."
        )
    near, far = sorted((abs(low), abs(high)))
    side, more = ("fewer", "severe") if value < 0 else ("more", "lenient")
    return (
        f"Your sheets are more {more} than the average evaluator's: with the same umpires and situations about {_amount(value)} "
        f"in a hundred calls {side} come out right on them, between {_amount(near)} and {_amount(far)} ({sure})."
    )


def drift_words(row: Row) -> str:
    """Say in words whether severity moved over the season."""
    value, low, high = row["drift_points_per_30_days"], row["drift_low"], row["drift_high"]
    if value is None:
        return "Your games lie on too few days to tell whether that changed over the season."
    if not is_apart(low, high):
        return "Over the season that did not change by more than chance allows."
    near, far = sorted((abs(low), abs(high)))
    side = "stricter" if value < 0 else "more lenient"
    return (
        f"Over the season your sheets grew {side}, by about {_amount(value)} points in 30 days (between {_amount(near)} and "
        f"{_amount(far)}). The umpires, their games or you may have changed; only you can say whether your eye did."
    )


def _grades(sheets: Sheets, links: SiteLinks, rules: Mapping[str, str]) -> Section:
    row, found = sheets.row, sheets.misgrades
    title = "Where your grade and the rules part"
    margin = [
        "Only grades of right or wrong on calls that the rules settle are compared. The rules are restated in our own words; the rule books decide."
    ]
    if row is None or not row["grades"]:
        return Section("grades", title, [Paragraph(["No grade of yours could be compared with the rules."])], margin=margin)
    told = (
        f"Of {plural(row['grades'], 'grade')} that can be compared {count(row['agree'])} agree with the rules: "
        f"{percent(row['agree_rate'])} ({interval(row['agree_low'], row['agree_high'])}). "
    )
    if not found:
        return Section("grades", title, [Paragraph([told + "None is against them."])], margin=margin)
    strict = sum(one["our_verdict"] == "right" for one in found)
    easy = sum(one["our_verdict"] == "wrong" for one in found)
    parts = []
    if strict:
        parts.append(f"{plural(strict, 'ruling was', 'rulings were')} right by the facts on your sheet though graded wrong")
    if easy:
        parts.append(f"{plural(easy, 'was', 'were')} wrong though graded right")
    told += f"{sentence(', '.join(parts))} A difference need not be yours: where the facts on the sheet are not what you saw, the facts want mending."
    blocks: list[Block] = [Paragraph([told]), _by_topic(sheets.health, links), _plays(found, sheets.calls, links, rules)]
    if len(found) > len(chosen_plays(found)):
        blocks.append(Paragraph([f"All {len(found):,} are on ", Link("the page of figures", "figures.html#misgrades"), "."]))
    return Section("grades", title, blocks, margin=margin)


def _by_topic(health: Sequence[Row], links: SiteLinks) -> Table:
    rows = [row for row in health if row["measure"] == "wrong_grades" and row["part"] and row["found"]]
    return Table(
        "letter-topics",
        "By topic, with the rules that speak against the grades most often",
        [Column("Topic"), Column("Against the rules", "num"), Column("Grades", "num"), Column("Share", "num"), Column("Rules")],
        [
            [
                Cell(topic(row["part"])),
                num(row["found"], count(row["found"])),
                num(row["cases"], count(row["cases"])),
                num(row["value"], percent(row["value"])),
                linked_cell(row["rule_ids"], links.rule),
            ]
            for row in sorted(rows, key=lambda row: (-row["found"], row["part"]))
        ],
    )


def chosen_plays(found: Sequence[Row]) -> list[Row]:
    """Return the differences that the letter tells in full: two of each topic, the topic with most first, four in all.

    Of those that the same reason decides only the first is told.
    """
    sizes = Counter(row["topic"] for row in found)
    taken: Counter[str] = Counter()
    told: set[tuple[str, str | None]] = set()
    plays = []
    for row in sorted(found, key=lambda row: (-sizes[row["topic"]], row["topic"], row["call_id"])):
        if taken[row["topic"]] < _PER_TOPIC and (row["topic"], row["because"]) not in told:
            taken[row["topic"]] += 1
            told.add((row["topic"], row["because"]))
            plays.append(row)
    return plays[:_PLAYS]


def _plays(found: Sequence[Row], calls: Sequence[Row], links: SiteLinks, rules: Mapping[str, str]) -> Ledger:
    by_id: Mapping[str, Row] = {call["call_id"]: call for call in calls}
    entries: list[Entry] = []
    for row in chosen_plays(found):
        word, mark = GRADES.get(row["our_verdict"], (row["our_verdict"], None))
        call = by_id.get(row["call_id"])
        lines: list[tuple[str, Sequence[Inline]]] = [("Your grade", [plain_names(row["evaluator_grade"])])]
        if call is not None and call["ruled_text"]:
            lines.append(("Ruled", [call["ruled_text"]]))
        if call is not None and call["right_text"] and row["our_verdict"] != "right":
            lines.append(("Right", [call["right_text"]]))
        lines.append(("Because", [links.free_text(row["because"]) or NOTHING]))
        named = [rule for rule in (row["rule_ids"] or "").split(";") if rule]
        if named:
            lines.append(("Rules", _in_words(named, links, rules)))
        if row["other_code"]:
            lines.append(("Would fit", [f"{CODES.get(row['other_code'], row['other_code'])}: there your grade would stand"]))
        game_on = day(call["game_on"]) if call is not None else NOTHING
        margin: list[Inline] = [game_on, ", ", links.call(row["call_id"])]
        title = f"The rules make the ruling {word.lower()}"
        entries.append(Entry(f"play-{len(entries) + 1}", topic(row["topic"]).capitalize(), mark, title, lines, margin))
    return Ledger("letter-plays", "Some of them, play by play", entries)


def _in_words(named: Sequence[str], links: SiteLinks, rules: Mapping[str, str]) -> list[Inline]:
    """Rules by id, each with its title where it is known."""
    found: list[Inline] = []
    for rule in named:
        found += ["; ", links.rule(rule)] if found else [links.rule(rule)]
        if rule in rules:
            found.append(f" ({rules[rule].rstrip('.')})")
    return found


def _facts(sheets: Sheets, links: SiteLinks) -> Section:
    found = sheets.open_calls
    title = "Facts that were left out"
    margin = ["An open call counts neither for nor against the umpire."]
    left_out = [row for row in sheets.facts if row["recorded"] < row["asked"]]
    if not found:
        told = "Every call that you wrote down could be settled from the facts on the sheet. "
        told += "A few facts were missing where they decided only a detail." if left_out else "Nothing that mattered was left out."
        return Section("facts", title, [Paragraph([told])])
    alone = sum(row["settled_alone"] for row in sheets.facts)
    told = (
        f"{plural(len(found), 'call stays', 'calls stay')} open because a fact is missing: the ruling may have been right or "
        f"wrong, and nobody is graded on {'it' if len(found) == 1 else 'them'}. "
    )
    if alone:
        told += f"One word more would have settled {'it' if alone == len(found) == 1 else f'{count(alone)} of them'}."
    shown = [_left_out(row, links) for row in left_out if row["open_calls"]]
    return Section("facts", title, [Paragraph([told]), Points(shown)], margin=margin)


def _left_out(row: Row, links: SiteLinks) -> list[Inline]:
    """One fact: how many calls it left open, what it would have settled, and the first of them."""
    parts: list[Inline] = [f"{row['title']}: {plural(row['open_calls'], 'call')} left open"]
    if row["undecided"]:
        parts.append(f", undecided between {plain_names(row['undecided'])}")
    parts.append(f". Alone it would have settled {count(row['settled_alone'])}.")
    calls = [links.call(call) for call in (row["call_ids"] or "").split(";") if call]
    for place, call in enumerate(calls):
        parts += [" For example " if not place else ", ", call]
    return [*parts, "."] if calls else parts


def _answer() -> Section:
    text = (
        "If a fact on your sheet is wrong, do not change the sheet: send an amendment to the coordinator (call, day, column, "
        "value, reason). It is scored, and the sheet stays readable. If you think that a rule is told wrongly here, say so with "
        "its number: the rule books prevail. What stands in this letter was reckoned from your sheets in the same way "
        "for everybody. It is meant for you, to see better."
    )
    return Section("answer", "If you see it otherwise", [Paragraph([text])])
