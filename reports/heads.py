"""What stands on top and at the foot of the pages: those of the site, and those of a packet."""

from __future__ import annotations

from collections.abc import Sequence

from reports.blocks import Link
from reports.book import SeasonBook
from reports.frame import Masthead

NAV = (
    ("index.html", "Readiness"),
    ("standards.html", "What if"),
    ("rankings.html", "Rankings"),
    ("compare.html", "Side by side"),
    ("decisions.html", "Decisions"),
    ("misrulings.html", "Misrulings"),
    ("clinics.html", "Clinics"),
    ("zone.html", "Called zone"),
    ("evaluators.html", "Evaluators"),
    ("quiz.html", "Quiz"),
    ("quality.html", "Data"),
    ("rules.html", "Rules"),
    ("dictionary.html", "Dictionary"),
    ("method.html", "Method"),
)

_CAUTION = "The committee decides; these pages show what the evidence carries and how far. Local codes and medical advice prevail."


def masthead(book: SeasonBook, strapline: str, nav: Sequence[tuple[str, Link]], *, has_plotly: bool) -> Masthead:
    """Return the masthead of a folder of pages."""
    season = book.season
    foot = (_CAUTION, f"Made with {season['generated_by']}.")
    return Masthead(season["association"] or "", season["title"] or "", strapline, tuple(nav), foot, has_plotly)


def site_head(book: SeasonBook) -> Masthead:
    """Return the masthead of the committee's pages."""
    return masthead(book, "for the committee", [(key, Link(text, key)) for key, text in NAV], has_plotly=True)


def packet_head(book: SeasonBook, *pages: tuple[str, str]) -> Masthead:
    """Return the masthead of a packet, which leads to these files by these words."""
    return masthead(book, "your own pages", [(file, Link(text, file)) for file, text in pages], has_plotly=False)
