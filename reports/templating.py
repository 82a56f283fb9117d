"""The template environment, for the sheets of case plays and for the rarer parts of pages."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from reports.blocks import Block, Inline
from reports.drawing import glyph, inline_text


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
    made.globals.update(inline=_inline, glyph_html=glyph)
    return made


def _inline(parts: Iterable[Inline]) -> Markup:
    return Markup(inline_text(parts))  # noqa: S704


def by_template(block: Block) -> str:
    """Return a block as HTML by the macro that is named after its kind."""
    drawn: str = getattr(environment().get_template("blocks.html.j2").module, block.kind)(block)
    return drawn
