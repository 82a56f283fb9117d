"""Turn pages into files: templates, the figures' data, and the assets beside them."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from reports.blocks import Figure, Inline, Link, Page
from reports.figures.rows import ROW_HEIGHT, plotly_figure, short

_UNBROKEN = 12
_JOINT = re.compile(r"(?<=[._+/])(?=.)")
_ESCAPES = {ord(c): f"\\u{ord(c):04x}" for c in "<>&\u2028\u2029"}


@dataclass(frozen=True)
class Masthead:
    """What stands on top and at the foot of every page of one folder."""

    association: str
    season: str
    strapline: str
    nav: Sequence[tuple[str, Link]]
    foot: Sequence[str]
    has_plotly: bool


@cache
def environment() -> Environment:
    """Return the template environment: everything is escaped, and a name that is not there is an error."""
    made = Environment(
        loader=PackageLoader("reports"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals.update(row_height=ROW_HEIGHT, inline=inline_html, listed=listed_html, breakable=breakable_html)
    made.filters.update(short=short)
    return made


def inline_html(parts: Iterable[Inline]) -> Markup:
    """Return running text with its links; every part is escaped. In Python, as a page may have thousands."""
    return Markup("").join(_part_html(part) for part in parts)


def listed_html(links: Iterable[Link]) -> Markup:
    """Return links parted by commas."""
    return Markup(", ").join(_part_html(link) for link in links)


def breakable_html(text: str) -> Markup:
    """Return a text that may be broken within long names such as `plate_calls_E01.csv`, at their joints."""
    if len(text) < _UNBROKEN or " " in text:
        return escape(text)
    return Markup("<wbr>").join(escape(part) for part in _JOINT.split(text))


def _part_html(part: Inline) -> Markup:
    if isinstance(part, Link):
        return Markup('<a href="{}">{}</a>').format(part.href, part.text)
    return escape(part)


def script_json(value: Any) -> str:
    """Return JSON that can stand in a script element: nothing in it can end the element or a line of script."""
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"), sort_keys=True).translate(_ESCAPES)


def render(page: Page, masthead: Masthead) -> str:
    """Return a page as HTML."""
    figures = {
        block.id: plotly_figure(block.chart)
        for section in page.sections
        for block in section.blocks
        if isinstance(block, Figure) and block.chart.labels
    }
    live = masthead.has_plotly and bool(figures)
    # The text is JSON with every character escaped that HTML could take for its own.
    data = Markup(script_json(figures)) if live else None  # noqa: S704
    return environment().get_template("page.html.j2").render(page=page, masthead=masthead, figure_data=data)


def write_page(folder: Path, page: Page, masthead: Masthead) -> int:
    """Write a page under `folder`; return its size in bytes."""
    target = folder / page.path
    target.parent.mkdir(parents=True, exist_ok=True)
    content = render(page, masthead).encode("utf-8", "replace")
    target.write_bytes(content)
    return len(content)


def write_assets(folder: Path, *, with_plotly: bool) -> None:
    """Write style and script, and plotly's script where the pages draw with it, into `folder/assets`."""
    assets = folder / "assets"
    assets.mkdir(parents=True, exist_ok=True)
    for name in ("site.css", "site.js"):
        (assets / name).write_bytes(files("reports").joinpath("assets", name).read_bytes())
    if with_plotly:
        source = files("plotly").joinpath("package_data", "plotly.min.js")
        (assets / "plotly.min.js").write_bytes(source.read_bytes())
