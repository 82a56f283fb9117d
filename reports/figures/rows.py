"""The one kind of figure used: rows of names against a measured axis, with marks, ranges and bars.

It is drawn twice from the same description: as plain SVG in the page (read without scripts, printed, sent by
mail) and as a plotly figure that takes its place on a screen where scripts run.
"""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from reports.figures.palette import Role

Shape = Literal["circle", "square", "diamond-open", "circle-open", "x-thin-open", "line-ns-open"]

ROW_HEIGHT = 28
_SIZE = 5.0


@dataclass(frozen=True)
class Mark:
    """One mark in row number `row` (from 0) at `x`, with its range where there is one; `words` say it in full."""

    row: int
    x: float
    words: str
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class Series:
    """Marks of one kind. A faint series is drawn small and light, for clouds of many marks."""

    name: str
    shape: Shape
    role: Role
    marks: Sequence[Mark]
    faint: bool = False


@dataclass(frozen=True)
class Bar:
    """A bar in a row from `start` to `end`."""

    row: int
    start: float
    end: float
    role: Role
    words: str


@dataclass(frozen=True)
class Rule:
    """An upright line across all rows, with a label on top."""

    x: float
    label: str


@dataclass(frozen=True)
class RowChart:
    """Rows, what stands in them, and the axis: its ends, ticks with their labels, and title."""

    labels: Sequence[str]
    x_title: str
    x_low: float
    x_high: float
    ticks: Sequence[tuple[float, str]]
    series: Sequence[Series] = ()
    bars: Sequence[Bar] = ()
    rules: Sequence[Rule] = ()
    values: Sequence[str] = ()
    label_length: int = 30

    @property
    def height(self) -> int:
        """Height of the rows in pixels."""
        return ROW_HEIGHT * len(self.labels)

    def place(self, x: float) -> float:
        """Return where `x` lies on the axis, in percent of its length, held within it."""
        span = self.x_high - self.x_low or 1.0
        return round(min(max(100 * (x - self.x_low) / span, 0.0), 100.0), 2)

    def beyond(self, x: float) -> bool:
        """Whether `x` lies outside the axis."""
        return not self.x_low <= x <= self.x_high

    @property
    def legend(self) -> list[Series]:
        """The series that need a name."""
        return [one for one in self.series if one.name and one.marks]


def short(label: str, length: int) -> str:
    """Return a label that fits beside the rows."""
    return label if len(label) <= length else label[: length - 1].rstrip() + "…"


def _safe(text: str) -> str:
    # Plotly reads a little HTML, links among it: a name must stay a name.
    return html.escape(text, quote=False)


def plotly_figure(chart: RowChart) -> dict[str, Any]:
    """Return the chart as a plain plotly figure; colours are given by role as `@role` and resolved in the page."""
    data: list[dict[str, Any]] = []
    if chart.bars:
        data.append(
            {
                "type": "bar",
                "orientation": "h",
                "y": [bar.row for bar in chart.bars],
                "x": [bar.end - bar.start for bar in chart.bars],
                "base": [bar.start for bar in chart.bars],
                "width": 0.5,
                "marker": {"color": [f"@{bar.role}" for bar in chart.bars]},
                "hovertext": [_safe(bar.words) for bar in chart.bars],
                "hoverinfo": "text",
                "showlegend": False,
            }
        )
    data += [_trace(one) for one in chart.series if one.marks]
    top = 28 if any(rule.label for rule in chart.rules) else 8
    layout: dict[str, Any] = {
        "height": chart.height + top + 56,
        "margin": {"l": 8, "r": 26, "t": top, "b": 48},
        "showlegend": False,
        "hovermode": "closest",
        "dragmode": False,
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"size": 13},
        "xaxis": {
            "range": [chart.x_low, chart.x_high],
            "tickvals": [x for x, _ in chart.ticks],
            "ticktext": [text for _, text in chart.ticks],
            "title": {"text": chart.x_title, "standoff": 8, "font": {"size": 13}},
            "zeroline": False,
            "fixedrange": True,
        },
        "yaxis": {
            "range": [len(chart.labels) - 0.5, -0.5],
            "tickvals": list(range(len(chart.labels))),
            "ticktext": [_safe(short(label, chart.label_length)) for label in chart.labels],
            "automargin": True,
            "ticklabelstandoff": 8,
            "zeroline": False,
            "fixedrange": True,
        },
        "shapes": [
            {
                "type": "line", "xref": "x", "yref": "paper", "x0": rule.x, "x1": rule.x, "y0": 0, "y1": 1,
                "line": {"color": "@ink", "width": 1, "dash": "dot"},
            }
            for rule in chart.rules
        ],
        "annotations": [
            {
                "x": rule.x, "y": 1, "xref": "x", "yref": "paper", "yanchor": "bottom", "showarrow": False,
                "text": _safe(rule.label), "font": {"size": 12},
            }
            for rule in chart.rules
            if rule.label
        ],
    }  # fmt: skip
    return {"data": data, "layout": layout}


def _trace(one: Series) -> dict[str, Any]:
    trace: dict[str, Any] = {
        "type": "scatter",
        "mode": "markers",
        "name": one.name,
        "x": [mark.x for mark in one.marks],
        "y": [mark.row for mark in one.marks],
        "marker": {
            "symbol": one.shape,
            "size": 7 if one.faint else 14 if one.shape == "line-ns-open" else 11,
            "color": f"@{one.role}",
            "opacity": 0.55 if one.faint else 1,
            "line": {"width": 2, "color": f"@{one.role}"} if one.shape.endswith("-open") else {"width": 0},
        },
        "hovertext": [_safe(mark.words) for mark in one.marks],
        "hoverinfo": "text",
        # A mark at the end of the axis is drawn whole.
        "cliponaxis": False,
    }
    if any(mark.low is not None for mark in one.marks):
        trace["error_x"] = {
            "type": "data",
            "symmetric": False,
            "array": [0 if mark.high is None else mark.high - mark.x for mark in one.marks],
            "arrayminus": [0 if mark.low is None else mark.x - mark.low for mark in one.marks],
            "color": f"@{one.role}",
            "thickness": 1.5,
            "width": 0,
        }
    return trace


def even_ticks(low: float, high: float, step: float, form: str) -> list[tuple[float, str]]:
    """Return ticks at multiples of `step` from `low` to `high`, labelled by the format `form`."""
    first, last = round(low / step), round(high / step)
    return [(round(i * step, 6), form.format(i * step).replace("-", "−")) for i in range(first, last + 1)]
