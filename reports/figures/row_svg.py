"""A chart of rows as SVG for the page, put together in Python: a strip of calls has a mark for each."""

from __future__ import annotations

from collections.abc import Iterator

from markupsafe import Markup

from reports.drawing import escaped
from reports.figures.rows import ROW_HEIGHT, RowChart, Series, short

_LABEL = 13
"""Height of a line of words above the rows, in pixels."""

_SHEET_ROWS = 30
"""Rows that a sheet of paper holds: a taller chart would be cut, so that on paper its table alone stands."""


def _mark(series: Series) -> str:
    """Return the shape of a series about its own zero point."""
    s = 3.2 if series.faint else 5.2
    if series.shape.startswith("circle"):
        return f'<circle r="{s}"/>'
    if series.shape == "square":
        return f'<rect x="-{s}" y="-{s}" width="{2 * s}" height="{2 * s}"/>'
    if series.shape.startswith("diamond"):
        d = 1.25 * s
        return f'<path d="M0-{d} {d} 0 0 {d}-{d} 0Z"/>'
    if series.shape.startswith("x"):
        return f'<path d="M-{s}-{s} {s} {s}M{s}-{s}-{s} {s}"/>'
    return '<path d="M0-8V8"/>'


def _opening(series: Series) -> str:
    faint = " faint" if series.faint else ""
    return f' overflow="visible" class="mark {series.role} {series.shape}{faint}">{_mark(series)}</svg>'


def shape_html(series: Series, x: float, y: float) -> Markup:
    """Return one mark of a series at `x` percent of the width and `y` pixels."""
    return Markup(f'<svg x="{x}%" y="{y}"{_opening(series)}')  # noqa: S704


def chart_html(c: RowChart) -> Markup:
    """Return the chart: labels, the field with its axis and marks, and the values at the end of the rows."""
    lines = max(1, _label_lines(c))
    ruled = f' data-ruled="{lines}"' if c.rules else ""
    top = _LABEL * lines + 5 if c.rules else 0
    labels = "".join(
        [f'<li title="{escaped(label)}">{escaped(short(label, c.label_length))}</li>\n' for label in c.labels]
    )
    out = [
        f'<div class="chart{" tall" if len(c.labels) > _SHEET_ROWS else ""}" aria-hidden="true">\n<ol class="chart-labels"{ruled}>\n{labels}</ol>\n'
        f'<svg class="chart-field" width="100%" height="{c.height + 22 + top}" focusable="false">\n'
        f'<svg y="{top}" overflow="visible" width="100%" height="{c.height + 22}">\n',
        *_axis(c),
        *_bars(c),
        *_marks(c),
        "</svg>\n</svg>\n",
    ]
    if c.values:
        values = "".join([f"<li>{escaped(value)}</li>\n" for value in c.values])
        out.append(f'<ol class="chart-values"{ruled}>\n{values}</ol>\n')
    out.append(f'<p class="x-title">{escaped(c.x_title)}</p>\n</div>\n')
    return Markup("".join(out))  # noqa: S704


def _label_lines(c: RowChart) -> int:
    """Return on how many lines the words above the rules stand: on a narrow page two would run into each other."""
    return min(sum(bool(rule.label) for rule in c.rules), 2)


def _axis(c: RowChart) -> Iterator[str]:
    for place in range(len(c.labels)):
        y = (place + 0.5) * ROW_HEIGHT
        yield f'<line class="row-rule" x1="0" x2="100%" y1="{y}" y2="{y}"/>\n'
    last = len(c.ticks) - 1
    for place, (x, text) in enumerate(c.ticks):
        at = c.place(x)
        anchor = "start" if place == 0 else "end" if place == last else "middle"
        yield (
            f'<line class="tick" x1="{at}%" x2="{at}%" y1="0" y2="{c.height}"/>'
            f'<text class="tick-text{" between" if place % 2 else ""}" x="{at}%" y="{c.height + 15}" '
            f'text-anchor="{anchor}">{escaped(text)}</text>\n'
        )
    lines = _label_lines(c)
    for number, rule in enumerate(c.rules):
        at = c.place(rule.x)
        yield f'<line class="cut" x1="{at}%" x2="{at}%" y1="-2" y2="{c.height}"/>'
        if rule.label:
            anchor = "start" if at < 12 else "end" if at > 88 else "middle"
            yield f'<text class="cut-text" x="{at}%" y="{-6 - _LABEL * (number % lines)}" text-anchor="{anchor}">{escaped(rule.label)}</text>'
        yield "\n"


def _bars(c: RowChart) -> Iterator[str]:
    for bar in c.bars:
        a, b = c.place(min(bar.start, bar.end)), c.place(max(bar.start, bar.end))
        yield (
            f'<rect class="bar {bar.role}" x="{a}%" width="{round(max(b - a, 0.25), 2)}%" '
            f'y="{bar.row * ROW_HEIGHT + 7}" height="{ROW_HEIGHT - 14}"/>\n'
        )


def _marks(c: RowChart) -> Iterator[str]:
    for one in c.series:
        opening = _opening(one)
        for m in one.marks:
            y = (m.row + 0.5) * ROW_HEIGHT
            if m.low is not None and m.high is not None:
                yield (
                    f'<line class="range {one.role}" x1="{c.place(m.low)}%" x2="{c.place(m.high)}%" '
                    f'y1="{y}" y2="{y}"/>\n'
                )
            if not c.beyond(m.x):
                yield f'<svg x="{c.place(m.x)}%" y="{y}"{opening}\n'
