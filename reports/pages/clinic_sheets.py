"""The sheets of each clinic session, to print: the trainer's with the key and the people, the class's with neither."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from reports.blocks import Blank, Block, Form, FormEntry, Inline, Link, Page, Paragraph, Points, Section
from reports.book import Row, SeasonBook
from reports.clinic_words import CAUTIONS, FORMS, KNOWLEDGE, drills, joined_subjects, situation, subject
from reports.links import SiteLinks
from reports.pages.clinics import are_apart, class_file, session_place, trainer_file
from reports.words import CODES, CONFIDENCES, count, number, percent, plural, sentence

_LETTERS = "abcd"

_EYE_ONLY = (
    "No written play belongs to this session: what goes wrong in it is a matter of the eye, and no text shows what the eye "
    "has to see. The work is on the field."
)


_NONE_MADE = (
    "No case play could be made for this session that the quiz had not asked already. Walk the situations through instead, as "
    "told under the field."
)


def clinic_sheets(book: SeasonBook, links: SiteLinks) -> Iterator[tuple[Page, bool]]:
    """Yield each session's two sheets; True stands beside one that anybody may get."""
    subjects, plays = book.by("clinic_subject", "session"), book.by("clinic_play", "session")
    people = book.by("clinic_attendee", "session")
    misrulings = {row["misruling_code"]: row for row in book.misrulings}
    rows = book.rows("clinic_session")
    for row in rows:
        session = row["session"]
        back = session_place(session, apart=are_apart(rows), root=links.root)
        taught = subjects[session]
        yield _trainer_page(row, taught, plays.get(session, []), people[session], misrulings, back, links), False
        yield _class_page(row, taught, plays.get(session, [])), True


def _class_page(row: Row, subjects: Sequence[Row], plays: Sequence[Row]) -> Page:
    sections = [_play_section(subjects, plays, with_key=False)]
    sections += _field_sections(subjects)
    return Page(
        class_file(row["session"]),
        joined_subjects(row["topics"]),
        [
            "Rule each play as you would on the field: say the ruling, then the one fact that decides it. The answers come "
            "in the session."
        ],
        sections,
    )


def _trainer_page(
    row: Row,
    subjects: Sequence[Row],
    plays: Sequence[Row],
    people: Sequence[Row],
    misrulings: Mapping[str, Row],
    back: str,
    links: SiteLinks,
) -> Page:
    session = row["session"]
    sections = [
        _purpose(row, subjects, misrulings),
        _play_section(subjects, plays, with_key=True),
        *_field_sections(subjects),
        _attendance(people, links),
    ]
    return Page(
        trainer_file(session),
        f"Session {session}, for the trainer: {joined_subjects(row['topics'])}",
        [
            f"Held {FORMS[row['form']]}, {plural(row['attendees'], 'umpire')}. If the policy's assumptions hold it takes away "
            f"about {number(row['removed'], 0)} of {number(row['expected_wrong'], 0)} wrong rulings in a season "
            f"({number(row['removed_low'], 0)} to {number(row['removed_high'], 0)}). The key is on this sheet: do not hand it out."
        ],
        sections,
        trail=(Link("Clinics", back),),
        nav="clinics.html",
    )


def _purpose(row: Row, subjects: Sequence[Row], misrulings: Mapping[str, Row]) -> Section:
    blocks: list[Block] = []
    for one in subjects:
        known = [misrulings[code] for code in (one["misruling_codes"] or "").split(";") if code in misrulings]
        points: list[Sequence[Inline]] = [
            [f"{found['title']}. Right: {sentence(found['explanation'])}" if found["explanation"] else sentence(found["title"])]
            for found in known[:3]
        ]
        kinds = [situation(text) for text in (one["strata"] or "").split(";") if text]
        if kinds:
            points.append([f"Situations in which it happens most: {'; '.join(kinds)}."])
        points.append([_quiz_line(one)])
        share = percent(one["times"] / one["chances"], 0) if one["chances"] else ""
        blocks.append(
            Points(
                points,
                title=f"{subject(one['topic'])}: {count(one['times'])} of {count(one['chances'])} graded calls wrong ({share})",
            )
        )
    return Section(
        "purpose",
        "What goes wrong",
        blocks,
        margin=["Counted over those who attend. What the rules say stands with each; teach the fact that decides, not the page."],
    )


def _quiz_line(one: Row) -> str:
    parts = [
        f"{one[state]} by whose quiz answers {KNOWLEDGE[state]}" for state in ("not_known", "known", "not_clear") if one[state]
    ]
    if one["not_asked"]:
        parts.append(f"{one['not_asked']} whom the quiz hardly asked")
    eye = percent(one["judged_share"], 0)
    return f"Among those taught: {'; '.join(parts)}. A matter of the eye: {eye} of the season's wrong rulings on it."


def _play_section(subjects: Sequence[Row], plays: Sequence[Row], *, with_key: bool) -> Section:
    title = "Case plays with key and reasons" if with_key else "Case plays"
    if not plays:
        by_eye = all(one["form"] == "field" for one in subjects)
        return Section("plays", title, [Paragraph([_EYE_ONLY if by_eye else _NONE_MADE])])
    entries = [_play(row, with_key=with_key) for row in plays]
    blocks: list[Block] = []
    if with_key:
        blocks.append(
            Paragraph(
                [
                    "Key and reasons follow from the rules, on the facts that are told and on no others. Each wrong option is the "
                    "ruling of somebody who holds a known misbelief. The rule books prevail."
                ]
            )
        )
    else:
        sign = FormEntry("sign", "", None, "", (), [Blank("Name", lines=1), Blank("Date", lines=1)])
        blocks.append(Form("sign-form", "", [sign]))
    return Section("plays", title, [*blocks, Form("play-form", "", entries)])


def _play(row: Row, *, with_key: bool) -> FormEntry:
    letters = [letter for letter in _LETTERS if row[f"option_{letter}"]]
    lines: list[tuple[str, Sequence[Inline]]] = [("Play", [row["stem"]])]
    lines += [(letter.upper(), [row[f"option_{letter}"]]) for letter in letters]
    if not with_key:
        blanks = [Blank("Your ruling", [letter.upper() for letter in letters]), Blank("Deciding fact", lines=1)]
        return FormEntry(f"play-{row['number']}", f"Play {row['number']}", None, CODES[row["rule_code"]], lines, blanks)
    known = CONFIDENCES.get(row["confidence"], row["confidence"])
    lines += [("Key", [f"{row['key'].upper()}. {row['because']}"])]
    lines += [
        (f"Not {letter.upper()}", [row[f"why_{letter}"]])
        for letter in letters
        if letter != row["key"] and row[f"why_{letter}"]
    ]
    lines.append(("Rules", [f"{row['rule_refs'] or 'none'} ({known})"]))
    hard = f"{row['difficulty'].capitalize()}: {row['difficulty_why']}. " if row["difficulty_why"] else ""
    lines.append(("Origin", [f"{hard}{row['origin']}"]))
    heading = f"Play {row['number']}: {subject(row['topic'])}"
    return FormEntry(f"play-{row['number']}", heading, None, CODES[row["rule_code"]], lines, ())


def _field_sections(subjects: Sequence[Row]) -> list[Section]:
    blocks: list[Block] = [
        Points([[text] for text in drills(one["topic"])], title=subject(one["topic"])) for one in subjects
    ]
    blocks.append(Points([[text] for text in CAUTIONS], title="Before anybody throws a ball"))
    return [
        Section("field", "On the field", blocks, margin=["Drills are common practice, no source: make them fit your place and people."])
    ]


def _attendance(people: Sequence[Row], links: SiteLinks) -> Section:
    by_umpire: dict[str, list[str]] = {}
    for row in people:
        by_umpire.setdefault(row["umpire_id"], []).append(subject(row["topic"]))
    entries = [
        FormEntry(
            f"person-{place}",
            links.umpire(umpire),
            None,
            f"for {', '.join(topics)}",
            (),
            [Blank("Attended", ["yes", "no"])],
        )
        for place, (umpire, topics) in enumerate(by_umpire.items(), 1)
    ]
    return Section(
        "attendance",
        "Who attends (for the trainer only)",
        [Form("attendance-form", "", entries)],
        margin=["On a page of its own, so that it can stay with you. Call nobody's wrong rulings out in the class."],
    )
