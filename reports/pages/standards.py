"""The standards tried otherwise: sliders where scripts run, and beside them what a point or two would change."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from pipeline.config import AREAS, CONSEQUENCES, Level
from reports.blocks import Block, Cell, Column, Inline, Link, Page, Paragraph, Section, Table, Tool
from reports.book import Row, SeasonBook
from reports.data_scripts import data_address, data_name, packed_script
from reports.links import SiteLinks
from reports.naming import slug
from reports.words import AREAS as AREA_WORDS
from reports.words import READINGS, count, num, plural, points

_READING_ORDER = ("ready", "more_looks", "not_yet")
EVERY_CUT = "all"
_NAMED = 6
_LIMIT_WORDS = {"count": "ball or strike", "base": "base", "out": "out", "safety": "safety duty"}


def standards_page(book: SeasonBook, links: SiteLinks) -> Page:
    """Make `standards.html`."""
    judged = _judged(book)
    drawn = {row["target_level"]: row["draws"] for row in book.rows("trial_level")}
    shifts = book.by("standard_shift", "target_level")
    sections = [
        _level_section(book, links, level, judged[level.id], drawn.get(level.id, 0), shifts.get(level.id, []))
        for level in book.policy.levels
        if level.id in judged
    ]
    if not sections:
        nobody = Paragraph(["No umpire of the roster works a level that the policy names, so there is nothing to try."])
        sections = [Section("nothing", "Nothing to try", [nobody])]
    return Page(
        path="standards.html",
        title="What if the standards were others?",
        lead=[
            "Move a cut or a risk and see who would read otherwise, before the policy is changed and not after. "
            "Nothing is written: the policy of the season stays in force, and whose reading changes by a point or two "
            "is a matter of the standard, not of the umpire."
        ],
        sections=sections,
        nav="standards.html",
        scripts=("draws.js", "trial.js"),
    )


def _judged(book: SeasonBook) -> dict[str, list[Row]]:
    found: dict[str, list[Row]] = defaultdict(list)
    for row in book.readiness:
        found[row["target_level"]].append(row)
    return found


def _level_section(
    book: SeasonBook, links: SiteLinks, level: Level, people: Sequence[Row], draws: int, shifts: Sequence[Row]
) -> Section:
    key = slug(level.id)
    blocks: list[Block] = []
    known = any(row["probability"] is not None for row in people)
    if draws:
        blocks.append(
            Tool(
                f"trial-{key}",
                "trial",
                "Where scripts run, cuts, risks and least evidence can be moved here. The table below says the same for "
                "cuts one and two points lower and higher.",
                data_address(data_name("trial", level.id)),
            )
        )
    elif known:
        blocks.append(
            Paragraph(
                [
                    f"{title_of(level)} has too many umpires for a page to hold their draws ({count(len(people))}). Try "
                    "another policy with the command `platework score SEASON --what-if OTHER.toml`, which has no such bound."
                ],
                tone="caution",
            )
        )
    if known:
        blocks += [_shift_table(book, links, level, key, people, shifts), *_unmoved(level, shifts)]
    else:
        blocks.append(
            Paragraph(["Nothing is known of anybody in an area that has a standard: no cut could change a reading."])
        )
    margin: list[Inline] = [
        f"{plural(len(people), 'umpire')} judged for {level.title}. Readings are taken from the joint draws of the fitted "
        "rates: a reading changes when the share of draws that meet every cut crosses what the risks ask for."
    ]
    if draws:
        of = "" if draws >= book.policy.draws else f" of {count(book.policy.draws)}"
        margin.append(f" Here from {'all ' if not of else 'the first '}{count(draws)}{of} draws.")
    return Section(f"level-{key}", _told(level, people, shifts), blocks, margin=margin)


def title_of(level: Level) -> str:
    """Return a level's title with a capital letter."""
    return level.title[:1].upper() + level.title[1:]


def _told(level: Level, people: Sequence[Row], shifts: Sequence[Row]) -> str:
    """Return the section's sentence: what a point on every cut does."""
    ready = sum(row["verdict"] == "ready" for row in people)
    every = {round(100 * row["shift"]): row["ready"] for row in shifts if row["area"] == EVERY_CUT}
    if not every:
        return f"{title_of(level)}: {ready} of {len(people)} ready by the policy's cuts"
    return (
        f"{title_of(level)}: {ready} of {len(people)} ready by the policy's cuts, "
        f"{every[-1]} with every cut a point lower, {every[1]} with every cut a point higher"
    )


def _shift_table(
    book: SeasonBook, links: SiteLinks, level: Level, key: str, people: Sequence[Row], shifts: Sequence[Row]
) -> Table:
    moved: dict[tuple[str, float], list[Link | str]] = defaultdict(list)
    for row in people:
        for one in book.sensitivity.get(row["umpire_id"], []):
            if one["changes"]:
                moved[one["area"], one["shift"]].append(links.umpire(row["umpire_id"]))
    order = {area: place for place, area in enumerate((EVERY_CUT, *AREAS))}
    shown = [row for row in shifts if row["moved"] or row["area"] == EVERY_CUT]
    rows = sorted(shown, key=lambda row: (order.get(row["area"], len(order)), row["shift"]))
    return Table(
        f"shifts-{key}",
        f"One and two points on the cuts of {level.title}",
        [
            Column("Cut moved"),
            Column("By points", "num"),
            *(Column(READINGS[verdict][0], "num") for verdict in _READING_ORDER),
            Column("Read otherwise", "num"),
            Column("Who"),
        ],
        [
            [
                Cell(_cut_words(row["area"])),
                num(row["shift"], points(row["shift"])),
                *(num(row[verdict], count(row[verdict])) for verdict in _READING_ORDER),
                num(row["moved"], count(row["moved"])),
                _who(moved[row["area"], row["shift"]]),
            ]
            for row in rows
        ],
    )


def _unmoved(level: Level, shifts: Sequence[Row]) -> list[Block]:
    """Return the sentence on the cuts that change no reading by a point or two."""
    moved = {row["area"] for row in shifts if row["moved"]}
    still = [area for area in AREAS if area not in moved and any(row["area"] == area for row in shifts)]
    if not still:
        return []
    names = ", ".join(AREA_WORDS[area].lower() for area in still)
    return [Paragraph([f"By a point or two, no reading hangs on the cut by itself for: {names}."])]


def _cut_words(area: str) -> str:
    return "Every cut" if area == EVERY_CUT else AREA_WORDS.get(area, area)


def _who(found: Sequence[Link | str]) -> Cell:
    if not found:
        return Cell("nobody")
    parts: list[Inline] = []
    for one in found[:_NAMED]:
        parts += [", ", one] if parts else [one]
    if len(found) > _NAMED:
        parts.append(f" and {count(len(found) - _NAMED)} more")
    return Cell("", sort=len(found), parts=tuple(parts))


def trial_scripts(book: SeasonBook, links: SiteLinks) -> Iterator[tuple[str, bytes]]:
    """Yield name and content of the data of each level that has draws."""
    judged, stops = _judged(book), book.by("trial_stop", "target_level")
    made: dict[str, dict[str, int]] = defaultdict(dict)
    for row in book.rows("umpire_consequence"):
        made[row["umpire_id"]][row["consequence"]] = row["times"]
    for level_id, rows in book.stream("trial_draw", "target_level"):
        level = book.policy.level(level_id)
        if level is None:
            continue
        reached = {(row["area"], row["umpire_id"]): row for row in rows}
        people = [row for row in judged[level_id] if (rows[0]["area"], row["umpire_id"]) in reached]
        drawn = [area for area in AREAS if any(row["area"] == area for row in rows)]
        header = {
            "level": level.id,
            "title": level.title,
            "draws": rows[0]["draws"],
            "of": book.policy.draws,
            "areas": [_area(area, stops[level_id], area in drawn) for area in AREAS],
            "risks": {"ready": level.risk_ready, "not_yet": level.risk_not_yet},
            "evidence": {name: getattr(level.evidence, name) for name in ("games", "calls", "evaluators")},
            "limits": dict(level.disqualifying),
            "limitWords": {name: _LIMIT_WORDS[name] for name in CONSEQUENCES},
            "people": [_person(row, links, made[row["umpire_id"]], drawn, reached) for row in people],
        }
        name = data_name("trial", level_id)
        body = (reached[area, row["umpire_id"]]["reached"] for area in drawn for row in people)
        yield name, packed_script(name, header, body)


def _area(area: str, stops: Sequence[Row], drawn: bool) -> dict[str, Any]:
    own = [row for row in stops if row["area"] == area]
    return {
        "id": area,
        "title": AREA_WORDS[area],
        "drawn": drawn,
        "stops": [row["cut"] for row in own],
        "policy": next((row["cut"] for row in own if row["is_policy"]), None),
    }


def _person(
    row: Row, links: SiteLinks, made: Mapping[str, int], drawn: Sequence[str], reached: Mapping[tuple[str, str], Row]
) -> dict[str, Any]:
    link = links.umpire(row["umpire_id"])
    return {
        "id": row["umpire_id"],
        "name": link.text if isinstance(link, Link) else link,
        "href": link.href if isinstance(link, Link) else None,
        "works": row["level_title"],
        "verdict": row["verdict"],
        "chance": row["probability"],
        "games": row["games"],
        "calls": row["calls"],
        "evaluators": row["evaluators"],
        "made": made,
        "seen": [area for area in drawn if reached[area, row["umpire_id"]]["calls"] > 0],
    }
