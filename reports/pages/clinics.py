"""The clinic plan: sessions, subjects, who attends and why, the expected effect, and what it rests on."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence

from reports.blocks import (
    Block,
    Cell,
    Column,
    Figure,
    Inline,
    Link,
    Page,
    Paragraph,
    Points,
    Section,
    Table,
    Terms,
)
from reports.book import Row, SeasonBook
from reports.clinic_words import CAUTIONS, FORMS, KNOWLEDGE, joined_subjects, situation, subject
from reports.figures.clinics import removed_chart
from reports.links import SiteLinks, link_cell
from reports.long_lists import LongLists, scripts_for
from reports.naming import anchor
from reports.words import count, interval, num, number, percent, plural

DRAWN = 15
TOGETHER = 6
"""Up to so many sessions are told on one page, if no more than `PEOPLE` attend them."""

PEOPLE = 200

LISTED = 30
"""Misrulings that the figure and the table show; the published table has all."""


def trainer_file(session: int) -> str:
    """Return the path of a session's sheet for the trainer."""
    return f"clinics/session-{session}-trainer.html"


def class_file(session: int) -> str:
    """Return the path of a session's sheet for the class."""
    return f"clinics/session-{session}-class.html"


def are_apart(sessions: Sequence[Row]) -> bool:
    """Whether each session is told on a page of its own, since there are many, or many people in them."""
    return len(sessions) > TOGETHER or sum(row["attendees"] for row in sessions) > PEOPLE


def session_place(session: int, *, apart: bool, root: str = "") -> str:
    """Return where a session is told in full: on `clinics.html`, or on a page of its own; see `are_apart`."""
    return f"{root}clinics/session-{session}.html" if apart else f"{root}clinics.html#session-{session}"


def clinics_pages(book: SeasonBook, links: SiteLinks, lists: LongLists) -> Iterator[Page]:
    """Yield `clinics.html` and, where there are many sessions or people in them, a page for each session.

    `links` are those from the top of the site; a session of too many people for a page is handed to `lists`.
    """
    sessions, subjects = book.rows("clinic_session"), book.by("clinic_subject", "session")
    attendees = book.by("clinic_attendee", "session")
    titles = {row["misruling_code"]: row["title"] for row in book.misrulings}
    plan = next(iter(book.rows("clinic_plan")), None)
    apart = are_apart(sessions)
    sections = [_plan_section(sessions)]
    if plan and sessions:
        sections.append(_assumptions(book, plan))
    told = [
        _session_section(row, subjects[row["session"]], attendees[row["session"]], titles, links, lists, apart=apart)
        for row in sessions
    ]
    if not apart:
        sections += told
    targets = book.rows("clinic_target")
    if targets:
        sections.append(_targets(targets, {row["misruling_code"]: row for row in book.misrulings}, links))
    sections.append(Section("safety", "Before anybody throws a ball", [Points([[text] for text in CAUTIONS])]))
    yield Page("clinics.html", "Clinics", [_lead(plan)], sections, nav="clinics.html")
    for section in told if apart else ():
        trail = (Link("Clinics", "../clinics.html"),)
        lead = "What is taught, who attends, and why."
        scripts = scripts_for([section])
        yield Page(f"clinics/{section.id}.html", section.title, [lead], [section], trail, nav="clinics.html", scripts=scripts)


def _lead(plan: Row | None) -> str:
    if not plan or not plan["sessions"]:
        return "No session is planned: no wrong ruling was found that one could take away, or the policy plans none."
    return (
        f"{plural(plan['sessions'], 'session')} for {plural(plan['attendees'], 'umpire')} would take away about "
        f"{number(plan['removed'], 0)} wrong rulings in a season like this one, somewhere between "
        f"{number(plan['removed_low'], 0)} and {number(plan['removed_high'], 0)}, if the assumptions below hold. On the "
        f"subjects taught {number(plan['expected_wrong'], 0)} wrong rulings are expected of these umpires. In all, "
        f"{plural(plan['wrong_seen'], 'wrong ruling')} of {plural(plan['umpires_wrong'], 'umpire')} were seen this season."
    )


def _named(row: Row) -> str:
    return f"{row['session']}. {joined_subjects(row['topics'])}"


def _sheets(session: int, root: str = "") -> tuple[Link, ...]:
    return (
        Link(f"trainer’s sheet {session}", root + trainer_file(session)),
        Link(f"class sheet {session}", root + class_file(session)),
    )


def _removed_cells(row: Row) -> list[Cell]:
    return [
        num(row["expected_wrong"], number(row["expected_wrong"], 1)),
        num(row["removed"], number(row["removed"], 1)),
        Cell(f"{number(row['removed_low'], 1)} to {number(row['removed_high'], 1)}", sort=row["removed_low"]),
    ]


def _plan_section(sessions: Sequence[Row]) -> Section:
    table = Table(
        "clinic-sessions",
        "The sessions, the one of greatest gain first",
        [
            Column("Session"),
            Column("Where"),
            Column("People", "num"),
            Column("Wrong rulings expected of them", "num"),
            Column("Removed", "num"),
            Column("Range", "num"),
            Column("To print", "long"),
        ],
        [
            [
                Cell(_named(row), href=session_place(row["session"], apart=are_apart(sessions)), sort=row["session"]),
                Cell(FORMS[row["form"]]),
                num(row["attendees"], count(row["attendees"])),
                *_removed_cells(row),
                Cell("", links=_sheets(row["session"])),
            ]
            for row in sessions
        ],
        empty="No session is planned.",
    )
    if not sessions:
        return Section("plan", "The sessions", [table])
    first = sessions[0]
    title = (
        f"Session {first['session']} would take away most: about {number(first['removed'], 0)} wrong rulings in a season, "
        f"{number(first['removed_low'], 0)} to {number(first['removed_high'], 0)}."
    )
    return Section(
        "plan",
        "The sessions",
        [Figure("clinic-plan", title, removed_chart(sessions, _named), table)],
        margin=[
            "Each session begins with the subject that gains most when the seats go to those who gain most by it; "
            "then comes the subject that adds most. What has been taught counts no more for the next session. Gain is wrong "
            "rulings removed, weighted by what they cost. Nobody is asked for a subject on which he made no wrong ruling."
        ],
    )


def _assumptions(book: SeasonBook, plan: Row) -> Section:
    clinics = book.policy.clinics
    terms: list[tuple[str, Sequence[Inline]]] = [
        (
            "Assumed",
            [
                f"A session removes {percent(plan['share_removed_rules'], 0)} of somebody's wrong rulings on a subject "
                f"whose rule he does not know, {percent(plan['share_removed_practice'], 0)} where he knows it or where "
                "it is a matter of the eye, and the mean of the two where the quiz leaves it open. These shares come from "
                "the policy and from no source. The ranges let them be off by "
                f"{percent(plan['share_removed_off'], 0)} of themselves."
            ],
        ),
        (
            "Estimated",
            [
                "How often each would rule wrongly in a season with as many graded calls as this one: his own rate, drawn "
                f"towards those of all as far as his calls leave it open. Ranges hold the rates with {percent(book.policy.interval, 0)}."
            ],
        ),
        (
            "Not said",
            [
                "How long what was learned lasts; whether the same situations come up again; and what the calls that nobody "
                "graded were like. The next season shows whether the shares were right: compare, and change the policy."
            ],
        ),
        (
            "Set by policy",
            [
                f"{plural(clinics.sessions, 'session')} of at most {plural(clinics.seats, 'seat')}, "
                f"{plural(clinics.subjects, 'subject')} and {plural(clinics.plays, 'case play')} each; at most "
                f"{plural(clinics.sessions_a_person, 'session')} for one umpire. ",
                Link("All settings", "method.html"),
                ".",
            ],
        ),
    ]
    return Section("assumptions", "What it rests on", [Terms(terms)])


def _session_section(
    row: Row,
    subjects: Sequence[Row],
    attendees: Sequence[Row],
    titles: Mapping[str, str],
    links: SiteLinks,
    lists: LongLists,
    *,
    apart: bool,
) -> Section:
    number_, root = row["session"], "../" if apart else ""
    home = Link("Clinics", session_place(number_, apart=apart))
    every = _attendee_table(number_, row["topics"].split(";"), attendees, titles, links)
    people, below = lists.front(every, PEOPLE, f"Who attends session {number_}", home, "clinics.html", root)
    blocks: list[Block] = [
        Paragraph([f"Held {FORMS[row['form']]}. To print: ", *_with_commas(_sheets(number_, root)), "."]),
        _subject_table(number_, subjects, titles),
        people,
        *below,
    ]
    return Section(
        f"session-{number_}",
        f"Session {_named(row)}",
        blocks,
        margin=[
            "Names are for inviting people, not for a list of faults. They stand here and on the last page of the "
            "trainer's sheet, and nowhere in what the class gets."
        ],
    )


def _with_commas(links: Sequence[Link]) -> list[Inline]:
    out: list[Inline] = []
    for link in links:
        out += [", ", link] if out else [link]
    return out


def _subject_table(session: int, rows: Sequence[Row], titles: Mapping[str, str]) -> Table:
    return Table(
        f"subjects-{session}",
        f"What is taught in session {session}",
        [
            Column("Subject"),
            Column("Where"),
            Column("Wrong of graded, those taught", "num"),
            Column("All umpires", "num"),
            Column("By the eye", "num"),
            Column("Removed", "num"),
            Column("Range", "num"),
            Column("What goes wrong most", "long"),
        ],
        [
            [
                Cell(subject(row["topic"])),
                Cell(FORMS[row["form"]]),
                num(row["times"], f"{count(row['times'])} of {count(row['chances'])}"),
                num(row["season_times"], f"{count(row['season_times'])} of {count(row['season_chances'])}"),
                num(row["judged_share"], percent(row["judged_share"], 0)),
                *_removed_cells(row)[1:],
                Cell(_what_goes_wrong(row, titles)),
            ]
            for row in rows
        ],
    )


def _what_goes_wrong(row: Row, titles: Mapping[str, str]) -> str:
    codes = [titles.get(code, code) for code in (row["misruling_codes"] or "").split(";") if code]
    kinds = [situation(one) for one in (row["strata"] or "").split(";") if one]
    return "; ".join(codes[:3]) + (f". Situations: {'; '.join(kinds[:3])}" if kinds else "")


def _attendee_table(
    session: int, topics: Sequence[str], rows: Sequence[Row], titles: Mapping[str, str], links: SiteLinks
) -> Table:
    people: dict[str, list[Row]] = defaultdict(list)
    for row in sorted(rows, key=lambda row: (row["place"], row["umpire_id"], topics.index(row["topic"]))):
        people[row["umpire_id"]].append(row)
    cells = []
    for umpire, own in people.items():
        calls = [call for row in own for call in (row["call_ids"] or "").split(";")[:3] if call]
        removed = sum(row["removed"] for row in own)
        shown = tuple(link for link in map(links.call, calls) if isinstance(link, Link))
        cells.append(
            [
                link_cell(links.umpire(umpire)),
                Cell(" ".join(why(row, titles) for row in own)),
                num(removed, number(removed, 1)),
                Cell("", links=shown) if shown else Cell("–"),
            ]
        )
    return Table(
        f"people-{session}",
        f"Who attends session {session}, and why: those who gain most first",
        [Column("Umpire"), Column("Own wrong rulings on the subjects", "long"), Column("Removed", "num"), Column("Some of the calls")],
        cells,
        empty="Nobody.",
    )


def why(row: Row, titles: Mapping[str, str]) -> str:
    """Say why somebody is to attend: his own wrong rulings on a subject, the commonest, and what the quiz says."""
    codes = (row["misruling_codes"] or "").split(";")
    times = (row["misruling_times"] or "").split(";")
    named = [f"{titles.get(code, code)} ({n})" for code, n in zip(codes, times, strict=True) if code][:2]
    share = percent(row["times"] / row["chances"], 0) if row["chances"] else ""
    text = (
        f"{subject(row['topic'])}: {count(row['times'])} of {plural(row['chances'], 'graded call')} wrong ({share}; all "
        f"umpires {percent(row['season_rate'], 0)})"
    )
    if named:
        text += f", most often {'; '.join(named)}"
    if row["knowledge"] in KNOWLEDGE:
        text += f". Quiz: {row['right_answers']} of {row['answers']} right, {KNOWLEDGE[row['knowledge']]}"
    return f"{text}."


def _targets(rows: Sequence[Row], misrulings: Mapping[str, Row], links: SiteLinks) -> Section:
    known = [{**misrulings[row["misruling_code"]], **row} for row in rows if row["misruling_code"] in misrulings]
    listed = known[:LISTED]
    table = Table(
        "clinic-targets",
        "Misrulings by what one session on each alone would remove, weighted by what it costs",
        [
            Column("Misruling", "long"),
            Column("Removed, weighted", "num"),
            Column("Weight", "num"),
            Column("Removed", "num"),
            Column("Range", "num"),
            Column("Rate", "num"),
            Column("Interval", "num"),
            Column("Share of umpires", "num"),
            Column("By the eye", "num"),
            Column("Quiz: not known, known, open", "num"),
        ],
        [
            [
                Cell(row["title"], href=f"{links.root}misrulings.html#{anchor('m', row['misruling_code'])}"),
                num(row["weighted"], number(row["weighted"], 1)),
                num(row["consequence_weight"], number(row["consequence_weight"], 1)),
                *_removed_cells(row)[1:],
                num(row["rate"], percent(row["rate"])),
                Cell(interval(row["rate_low"], row["rate_high"]), sort=row["rate_low"]),
                num(row["umpire_share"], percent(row["umpire_share"], 0)),
                num(row["judged_share"], percent(row["judged_share"], 0)),
                Cell(f"{row['not_known']}, {row['known']}, {row['not_clear'] + row['not_asked']}", sort=row["not_known"]),
            ]
            for row in listed
        ],
    )
    heading = "Which misruling to teach on first"
    if not known:
        return Section("targets", heading, [table])
    first = known[0]
    title = (
        f"A session on one misruling alone gains most on: {first['title']} (about {number(first['removed'], 1)} removed, "
        f"{number(first['removed_low'], 1)} to {number(first['removed_high'], 1)})."
    )
    note = f"The first {DRAWN} by weighted gain." if len(known) > DRAWN else ""
    figure = Figure("clinic-gain", title, removed_chart(known[:DRAWN], lambda row: row["title"], 60), table, note=note)
    blocks: list[Block] = [figure]
    if len(known) > len(listed):
        blocks.append(Paragraph([f"The first {len(listed)} of {len(known)}; tables/pub_clinic_target.csv has all."]))
    return Section(
        "targets",
        heading,
        blocks,
        margin=[
            "Ordered by the gain as weighted by what a misruling costs; the figure shows it unweighted, with its range. Seats go "
            "to those who gain most. The last column counts those who made it: by their quiz answers they do not know the rule, "
            "know it, or it stays open or was hardly asked."
        ],
    )
