"""How figures and verdicts are written on the pages."""

from __future__ import annotations

import datetime as dt

from pipeline.config import AREA_TITLES
from reports.blocks import Cell, MarkName

THIN = "\u202f"
"""The narrow blank that does not break, before a percent sign."""

NOTHING = "–"

READINGS: dict[str, tuple[str, MarkName]] = {
    "ready": ("Ready", "disc"),
    "not_yet": ("Not yet", "block"),
    "more_looks": ("More looks", "rhomb"),
}
HOLDS: dict[str, tuple[str, MarkName]] = {
    "met": ("Met", "disc"),
    "short": ("Short", "block"),
    "unsure": ("Not settled", "rhomb"),
    "no_evidence": ("Nothing seen", "dash"),
}
GRADES: dict[str, tuple[str, MarkName]] = {
    "wrong": ("Wrong", "cross"),
    "edge": ("Edge pitch", "rhomb"),
    "open": ("Open", "query"),
    "not_graded": ("Not graded", "dash"),
    "right": ("Right", "ring"),
}
GRADE_ORDER = tuple(GRADES)
AREAS = {"overall": "All areas together", **AREA_TITLES}
CONSEQUENCES = {"count": "a ball or strike", "base": "a base", "out": "an out", "safety": "a safety duty"}
CODES = {"nfhs": "High school", "obr": "Official Baseball Rules", "ncaa": "College"}
CONFIDENCES = {
    "verified": "verified",
    "memory": "from memory",
    "inferred": "concluded",
}
SLOT_ITEMS = {
    "in_slot": "In the slot",
    "head_height": "Head at the top of the zone",
    "drift": "No drift",
    "view_handled": "View kept or won back",
    "set_at_release": "Set at release",
    "gap_defended": "Gap between plate and box kept",
}


def percent(value: float | None, digits: int = 1) -> str:
    """A share as percent: `91.8 %`."""
    return NOTHING if value is None else f"{100 * value:.{digits}f}{THIN}%"


def interval(low: float | None, high: float | None) -> str:
    """A range of shares: `88.1–94.6 %`."""
    return NOTHING if low is None or high is None else f"{100 * low:.1f}–{100 * high:.1f}{THIN}%"


def points(value: float | None) -> str:
    """A difference of shares in points, always with its sign: `+1.2`."""
    if value is None:
        return NOTHING
    text = f"{100 * value:+.1f}"
    return "0.0" if text in ("+0.0", "-0.0") else text.replace("-", "−")


def point_range(low: float | None, high: float | None) -> str:
    """A range of differences in points: `−3.2 to −0.3`."""
    return NOTHING if low is None or high is None else f"{points(low)} to {points(high)}"


def count(value: int | None) -> str:
    """A count with its thousands parted."""
    return NOTHING if value is None else f"{value:,}"


def number(value: float | None, digits: int = 2) -> str:
    """A number with a true minus sign."""
    return NOTHING if value is None else f"{value:,.{digits}f}".replace("-", "−")


def day(value: dt.date | None) -> str:
    """A day, in one order that sorts: `2026-04-03`."""
    return NOTHING if value is None else value.isoformat()


def plural(value: int, one: str, many: str | None = None) -> str:
    """A count with its noun: `1 call`, `2 calls`."""
    return f"{value:,} {one if value == 1 else many or one + 's'}"


def topic(value: str) -> str:
    """A topic in words: `illegal hit`."""
    return value.replace("_", " ")


def plain_names(text: str) -> str:
    """The text with names of facts as words: `could_avoid` as `could avoid`."""
    return text.replace("_", " ")


def sentence(text: str) -> str:
    """The text with a capital first letter and a full stop."""
    text = text.strip()
    return text if not text else text[0].upper() + text[1:] + ("" if text[-1] in ".!?" else ".")


def reasons(text: str | None) -> list[str]:
    """The sentences that were joined by `; `."""
    return [sentence(part) for part in (text or "").split("; ") if part.strip()]


def num(value: float | None, text: str, href: str | None = None) -> Cell:
    """A cell for a figure: `text` is shown, `value` sorts."""
    return Cell(text, sort=value, href=href if value is not None else None)


def marked(words: tuple[str, MarkName], sort: float | str | None = None) -> Cell:
    """A cell for a verdict: shape and word."""
    return Cell(words[0], mark=words[1], sort=sort)
