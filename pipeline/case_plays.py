"""Case plays for clinics and quizzes: gather, make, and write them down; the command cases."""

from __future__ import annotations

import datetime as dt
import difflib
import logging
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import InputError, Where
from pipeline.item_lists import asked_in_lists
from pipeline.rules.compile import rule_book
from pipeline.rules.model import CODE_TITLES, CODES
from pipeline.rules.plays.difficulty import DEFINITION, GRADES
from pipeline.rules.plays.items import Item
from pipeline.rules.plays.make import Made, Situations, Wish, all_topics, make_items
from pipeline.rules.plays.sheet import quiz_sheet
from pipeline.rulings.play_sources import TABLES, misruled_plays
from pipeline.store import Store, replaced_folder, write_bytes
from reports.case_sheet import Sheet, SheetItem, SheetOption, markdown, page

log = logging.getLogger(__name__)

FORMATS = ("md", "html", "csv")
STORE_NAME = "season.duckdb"

NOTES = (
    "Each key and its reasons come from the rules, on the facts that the play tells and on no others. Each wrong "
    "option is the ruling of somebody who holds a known misbelief; the reason names it.",
    "The mark behind a reference says how well the rule's words are known: verified (read in a published text), "
    "memory, or inferred. The rule books prevail.",
    f"Difficulty. {DEFINITION}",
)


@dataclass(frozen=True)
class Request:
    """What the command was asked for. `season` is the output folder of a run; `out` a file or a folder."""

    code: str
    number: int
    day: dt.date
    season: Path | None = None
    topics: tuple[str, ...] = ()
    difficulty: tuple[str, ...] = ()
    seed: int = 1
    avoid: tuple[Path, ...] = ()
    twins: bool = False


def _one_of(kind: str, given: Sequence[str], allowed: Sequence[str]) -> frozenset[str]:
    for name in given:
        if name not in allowed:
            near = difflib.get_close_matches(name, allowed, n=1)
            hint = f"did you mean {near[0]!r}? " if near else ""
            raise InputError(f"there is no {kind} called {name!r}", hint=f"{hint}there are: {', '.join(allowed)}")
    return frozenset(given)


def _topic(name: str) -> str:
    return name.strip().lower().replace(" ", "_").replace("'", "")


def _season_plays(season: Path, code: str) -> Situations:
    path = season / STORE_NAME if season.is_dir() else season
    if not path.is_file():
        raise InputError(
            f"there is no {STORE_NAME} here", where=Where(season), hint="give the output folder of `platework run`"
        )
    with Store(path, read_only=True) as store:
        if not all(store.has_table(name) for name in TABLES):
            raise InputError(
                "this season has not been scored", where=Where(path), hint="run `platework run` on it first"
            )
        found = misruled_plays(store, code)
    log.info("season  %s misruled plays of %s", f"{len(found):,}", code)
    return found


def make_plays(request: Request) -> Made:
    """Make the items that were asked for; fewer where there are no more that differ.

    Raises
    ------
    InputError
        A topic, code or grade is unknown, or the season or a list to avoid cannot be read.
    """
    _one_of("rule code", [request.code], CODES)
    season = _season_plays(request.season, request.code) if request.season else None
    known = set(all_topics()) | ({origin.topic for _, origin in season} if season is not None else set())
    wish = Wish(
        request.code,
        request.day,
        request.number,
        _one_of("topic", [_topic(name) for name in request.topics], sorted(known)),
        _one_of("grade of difficulty", request.difficulty, GRADES),
        request.seed,
        request.twins,
    )
    made = make_items(rule_book(), wish, season, asked_in_lists(request.avoid, request.day))
    log.info("cases   %d items, chosen from %d different questions", len(made.items), made.pool)
    return made


def _references(item: Item) -> str:
    return "; ".join(item.references)


def as_sheet(request: Request, items: Sequence[Item]) -> Sheet:
    """Return items as a sheet to print."""
    where = "a season's misruled calls" if request.season else "the rules' own cases"
    return Sheet(
        f"{CODE_TITLES[request.code]}. {len(items)} items, drawn from {where}, seed {request.seed}.",
        [
            SheetItem(
                item.item_id, item.topic, item.stem,
                [SheetOption(option.letter, option.text, option.why) for option in item.options],
                item.key, item.because, _references(item), item.confidence,
                f"{item.grade.name} ({item.grade.why})", item.origin, item.twin_of or item.item_id, item.lead,
            )
            for item in items
        ],
        NOTES,
    )  # fmt: skip


def as_text(request: Request, items: Sequence[Item], form: str) -> str:
    """Return items in one of FORMATS."""
    if form == "csv":
        return quiz_sheet(items)
    sheet = as_sheet(request, items)
    return markdown(sheet) if form == "md" else page(sheet)


def write_folder(request: Request, items: Sequence[Item], folder: Path) -> None:
    """Fill a folder: the sheet for the job, the plays with answers, the class's questions, the trainer's answers.

    Raises
    ------
    InputError
        The folder is there and holds files that are none of these.
    """
    sheet = as_sheet(request, items)
    content = {
        "quiz_items.csv": quiz_sheet(items),
        "case_plays.md": markdown(sheet),
        "case_plays.html": page(sheet),
        "questions.md": markdown(sheet, "questions"),
        "questions.html": page(sheet, "questions"),
        "answers.md": markdown(sheet, "answers"),
        "answers.html": page(sheet, "answers"),
    }
    strange = sorted(entry.name for entry in folder.iterdir() if entry.name not in content) if folder.is_dir() else []
    if strange:
        raise InputError(
            f"the folder holds other files ({', '.join(strange[:3])})",
            where=Where(folder),
            hint="give a folder of its own: it is written anew",
        )
    with replaced_folder(folder) as fresh:
        for name, text in content.items():
            (fresh / name).write_bytes(text.encode())


def write_plays(request: Request, items: Sequence[Item], out: Path | None, form: str | None) -> str | None:
    """Write items to a file or a folder, or return them as text where there is neither.

    `form` is one of FORMATS; without it the file's ending says it, and standard output gets Markdown.

    Raises
    ------
    InputError
        The ending of the file and `form` do not agree, or the folder holds other files.
    """
    if out is None:
        return as_text(request, items, form or "md")
    ending = out.suffix.lstrip(".").lower()
    if ending not in FORMATS and form is None:
        write_folder(request, items, out)
        log.info("written %s", out)
        return None
    if form is not None and ending in FORMATS and form != ending:
        raise InputError(f"the file ends in .{ending}, the format is {form}", where=Where(out), hint="give one of them")
    write_bytes(out, as_text(request, items, form or ending).encode())
    log.info("written %s", out)
    return None
