"""Turn pages into files: templates, the figures' data, and the assets beside them."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from reports.blocks import Figure, Inline, Link, Page
from reports.drawing import glyph, inline_text, ledger_html, table_html
from reports.figures.row_svg import chart_html, shape_html
from reports.figures.rows import plotly_figure

TOOL_ASSETS = ("tools.css", "draws.js", "rows.js", "find.js", "trial.js", "compare.js")
"""What the pages with tools need besides: long lists, filters, standards tried otherwise, two umpires side by side."""

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
        auto_reload=False,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals.update(
        inline=inline_html,
        table_html=table_html,
        ledger_html=ledger_html,
        glyph_html=glyph,
        chart_html=chart_html,
        shape_html=shape_html,
    )
    return made


def inline_html(parts: Iterable[Inline]) -> Markup:
    """Return running text with its links; every part is escaped."""
    return Markup(inline_text(parts))  # noqa: S704


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


@cache
def _asset(name: str) -> bytes:
    """Return a file of the assets: every packet has its own copy of some."""
    return files("reports").joinpath("assets", name).read_bytes()


def write_assets(folder: Path, *, with_plotly: bool) -> None:
    """Write style and script into `folder/assets`; for the site (`with_plotly`) plotly's script and the tools' too."""
    assets = folder / "assets"
    assets.mkdir(parents=True, exist_ok=True)
    for name in ("site.css", "site.js", *(TOOL_ASSETS if with_plotly else ())):
        (assets / name).write_bytes(_asset(name))
    if with_plotly:
        source = files("plotly").joinpath("package_data", "plotly.min.js")
        (assets / "plotly.min.js").write_bytes(source.read_bytes())
