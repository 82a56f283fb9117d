"""Turn pages into files, with the figures' data, and the assets beside them."""

from __future__ import annotations

import json
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from reports.blocks import Figure, Page
from reports.figures.rows import plotly_figure
from reports.frame import Masthead, page_html

TOOL_ASSETS = ("tools.css", "draws.js", "rows.js", "find.js", "trial.js", "compare.js")
"""What the pages with tools need besides: long lists, filters, standards tried otherwise, two umpires side by side."""

_ESCAPES = {c: f"\\u{ord(c):04x}" for c in "<>&\u2028\u2029"}


def script_json(value: Any) -> str:
    """Return JSON that can stand in a script element: nothing in it can end the element or a line of script."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), sort_keys=True)
    for character, escape in _ESCAPES.items():
        text = text.replace(character, escape)
    return text


def render(page: Page, masthead: Masthead) -> str:
    """Return a page as HTML."""
    if not masthead.has_plotly:
        return page_html(page, masthead, None)
    figures = {
        block.id: plotly_figure(block.chart)
        for section in page.sections
        for block in section.blocks
        if isinstance(block, Figure) and block.chart.labels
    }
    return page_html(page, masthead, script_json(figures) if figures else None)


def write_page(folder: Path, page: Page, masthead: Masthead) -> int:
    """Write a page under `folder`; return its size in bytes."""
    target = folder / page.path
    content = render(page, masthead).encode("utf-8", "replace")
    try:
        target.write_bytes(content)
    except FileNotFoundError:
        target.parent.mkdir(parents=True, exist_ok=True)
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
