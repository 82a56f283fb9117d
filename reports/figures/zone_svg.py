"""The drawing of a called zone as SVG, with its legend."""

from __future__ import annotations

from functools import lru_cache

from reports.drawing import escaped
from reports.figures.called_zone import Measure, ZoneDrawing, measure_marks

_LEGEND = (
    '<ul class="legend">\n<li><svg width="22" height="14" viewBox="0 0 22 14" aria-hidden="true" focusable="false">'
    '<line class="zone-book" x1="1" x2="21" y1="7" y2="7"/></svg> rule book</li>\n'
    '<li><svg width="22" height="14" viewBox="0 0 22 14" aria-hidden="true" focusable="false">'
    '<rect class="zone-band" x="1" y="2" width="20" height="10"/><line class="zone-called" x1="1" x2="21" y1="7" y2="7"/>'
    "</svg> called, with its interval</li>\n</ul>\n"
)


def zone_svg(d: ZoneDrawing, name: str) -> str:
    """Return the drawing and its legend; `name` is the figure's id, escaped."""
    x, y, width, height = d.book
    return "".join(
        [
            f'<svg class="zone" viewBox="0 0 {d.width} {d.height}" role="img" '
            f'aria-labelledby="{name}-title {name}-words" focusable="false">\n'
            f'<desc id="{name}-words">{escaped(d.words)}</desc>\n',
            _marks(d.measure),
            *[
                f'<rect class="zone-band" data-edge="{edge.name}" x="{edge.band[0]}" y="{edge.band[1]}" '
                f'width="{edge.band[2]}" height="{edge.band[3]}"/>\n'
                for edge in d.edges
            ],
            f'<rect class="zone-book" x="{x}" y="{y}" width="{width}" height="{height}"/>\n',
            *[
                f'<line class="zone-called" data-edge="{edge.name}" x1="{edge.line[0]}" y1="{edge.line[1]}" '
                f'x2="{edge.line[2]}" y2="{edge.line[3]}"/>\n'
                for edge in d.edges
            ],
            *[
                f'<text class="{label.role}" x="{label.x}" y="{label.y}" text-anchor="{label.anchor}">'
                f"{escaped(label.text)}</text>\n"
                for label in d.labels
            ],
            f"</svg>\n{_LEGEND}",
        ]
    )


@lru_cache(maxsize=64)
def _marks(measure: Measure) -> str:
    """Return the measure's marks: a season's drawings share a few measures."""
    out = []
    for mark in measure_marks(measure):
        long = " zone-mark-long" if mark.is_long else ""
        out.append(f'<line class="zone-mark{long}" x1="{mark.x1}" y1="{mark.y1}" x2="{mark.x2}" y2="{mark.y2}"/>')
        if mark.text:
            out.append(
                f'<text class="zone-number" x="{mark.text_x}" y="{mark.text_y}" text-anchor="{mark.anchor}">'
                f"{mark.text}</text>"
            )
    return "".join(out)
