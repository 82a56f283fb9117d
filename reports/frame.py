"""A page as HTML: what stands around its sections, and each block by its kind.

All that the pages of people are made of is put together in Python, since a large association has tens of thousands of
them and a template takes several times as long; rarer kinds of blocks have templates.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from reports.blocks import Block, Figure, Link, Page, Paragraph, Points, Section, ZoneFigure
from reports.drawing import escaped, inline_text, ledger_html, link_html, table_html
from reports.figures.row_svg import chart_html, shape_html
from reports.figures.zone_svg import zone_svg
from reports.templating import by_template

_CONTENTS_FROM = 4
"""Sections from which a page has a list of them on top."""

_POLICY = (
    "default-src 'none'; script-src 'self' file:; style-src 'self' file: 'unsafe-inline'; img-src 'self' file: data:; "
    "base-uri 'none'; form-action 'none'"
)


@dataclass(frozen=True)
class Masthead:
    """What stands on top and at the foot of every page of one folder."""

    association: str
    season: str
    strapline: str
    nav: tuple[tuple[str, Link], ...]
    foot: tuple[str, ...]
    has_plotly: bool


def page_html(page: Page, masthead: Masthead, figure_data: str | None) -> str:
    """Return a page; `figure_data` is JSON that can stand in a script element, for figures that a script draws."""
    title = escaped(page.title)
    data = f'<script type="application/json" id="figure-data">{figure_data}</script>\n' if figure_data else ""
    return "".join(
        [
            _above(title, masthead.season),
            _masthead(masthead, page.root, page.nav, bool(page.scripts)),
            _opening(page, title),
            *[section_html(section) for section in page.sections],
            _foot(masthead),
            data,
            _scripts(page.root, tuple(page.scripts), bool(figure_data)),
        ]
    )


def _above(title: str, season: str) -> str:
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">\n'
        '<meta name="referrer" content="no-referrer">\n<meta name="color-scheme" content="light dark">\n'
        f"<title>{title} · {escaped(season)}</title>\n"
    )


@lru_cache(maxsize=256)
def _masthead(masthead: Masthead, root: str, nav: str, has_tools: bool) -> str:
    """Return what the pages at one depth share: style sheets, the name of the association, the ways to other pages."""
    tools = f'<link rel="stylesheet" href="{root}assets/tools.css">\n' if has_tools else ""
    items = "".join(
        [
            f'<li><a href="{escaped(root + link.href)}"{_HERE if key == nav else ""}>{escaped(link.text)}</a></li>\n'
            for key, link in masthead.nav
        ]
    )
    ways = f'<nav aria-label="Pages">\n<ul>\n{items}</ul>\n</nav>\n' if items else ""
    return (
        f'<link rel="stylesheet" href="{root}assets/site.css">\n{tools}</head>\n<body>\n'
        '<a class="skip" href="#content">To the content</a>\n<header class="masthead">\n'
        f'<p class="association">{escaped(masthead.association)}</p>\n'
        f'<p class="season"><span>{escaped(masthead.season)}</span> '
        f'<span class="strapline">{escaped(masthead.strapline)}</span></p>\n'
        f"{ways}</header>\n"
    )


_HERE = ' aria-current="page"'


def _opening(page: Page, title: str) -> str:
    trail = " / ".join([link_html(link) for link in page.trail])
    contents = ""
    if len(page.sections) >= _CONTENTS_FROM:
        items = [f'<li><a href="#{escaped(one.id)}">{escaped(one.title)}</a></li>\n' for one in page.sections]
        contents = f'<nav class="contents" aria-label="On this page"><ul>\n{"".join(items)}</ul></nav>\n'
    return (
        '<main id="content">\n<div class="opening">\n'
        + (f'<p class="trail">{trail}</p>\n' if trail else "")
        + f'<h1>{title}</h1>\n<p class="lead">{inline_text(page.lead)}</p>\n{contents}</div>\n'
    )


@lru_cache(maxsize=64)
def _foot(masthead: Masthead) -> str:
    return "</main>\n<footer>\n" + "".join([f"<p>{escaped(line)}</p>\n" for line in masthead.foot]) + "</footer>\n"


@lru_cache(maxsize=256)
def _scripts(root: str, names: tuple[str, ...], is_live: bool) -> str:
    plotly = f' data-plotly="{root}assets/plotly.min.js"' if is_live else ""
    tools = "".join([f'<script src="{root}assets/{escaped(name)}" defer></script>\n' for name in names])
    return f'<script src="{root}assets/site.js"{plotly} defer></script>\n{tools}</body>\n</html>'


def section_html(section: Section) -> str:
    """Return a section under its heading; one that stands on two pages is drawn once."""
    if section.drawn is None:
        section.drawn = _section(section)
    return section.drawn


def _section(section: Section) -> str:
    name = escaped(section.id)
    margin = f'<p class="margin-note">{inline_text(section.margin)}</p>' if section.margin else ""
    blocks = "".join([block_html(block) + "\n" for block in section.blocks])
    return (
        f'<section id="{name}" aria-labelledby="{name}-title">\n<h2 id="{name}-title">{escaped(section.title)}</h2>\n'
        f'{margin}<div class="leaf">\n{blocks}</div>\n</section>\n'
    )


def block_html(block: Block) -> str:
    """Return a block as HTML; every text in it is escaped."""
    return _DRAWN.get(block.kind, by_template)(block) + "\n"


def _caption(block: Figure | ZoneFigure) -> str:
    note = f' <span class="figure-note">{escaped(block.note)}</span>' if block.note else ""
    return f'<figcaption id="{escaped(block.id)}-title"><strong>{escaped(block.title)}</strong>{note}</figcaption>\n'


def _figure(block: Figure) -> str:
    chart, table = block.chart, table_html(block.table) + "\n"
    if not chart.labels:
        return table
    name, legend = escaped(block.id), ""
    if chart.legend:
        keys = "".join(
            [
                '<li><svg width="14" height="14" viewBox="-8 -8 16 16" aria-hidden="true" focusable="false">'
                f"{shape_html(one, 0, 0)}</svg> {escaped(one.name)}</li>\n"
                for one in chart.legend
            ]
        )
        legend = f'<ul class="legend">\n{keys}</ul>\n'
    return (
        f'<figure id="{name}-figure">\n{_caption(block)}{legend}<div class="drawn">{chart_html(chart)}</div>\n'
        f'<div class="live" id="{name}" role="img" aria-labelledby="{name}-title" hidden></div>\n</figure>\n{table}'
    )


def _zone(block: ZoneFigure) -> str:
    drawn = ""
    if block.drawing.edges:
        name = escaped(block.id)
        drawn = f'<figure id="{name}">\n{_caption(block)}{zone_svg(block.drawing, name)}</figure>\n'
    return f'<div class="zone-pair">\n{drawn}{table_html(block.table)}\n</div>\n'


def _points(block: Points) -> str:
    if not block.items:
        return ""
    title = f"<h3>{escaped(block.title)}</h3>" if block.title else ""
    items = "".join([f"<li>{inline_text(item)}</li>\n" for item in block.items])
    return f'{title}<ul class="points">\n{items}</ul>\n'


def _paragraph(block: Paragraph) -> str:
    return f'<p class="{block.tone}">{inline_text(block.parts)}</p>'


_DRAWN: dict[str, Callable[[Any], str]] = {
    "figure": _figure,
    "ledger": ledger_html,
    "paragraph": _paragraph,
    "points": _points,
    "table": table_html,
    "zone": _zone,
}
