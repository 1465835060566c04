"""A chart for a page: SVG text whose colours and fonts the page's style gives.

Conventions: as each line is told by its dashes and its width as well as its colour, a chart
can be printed in grey. Text stays text. Numbers are rounded to a tenth of a unit of the
picture, so the same data gives the same bytes. The page defines the classes ``left``,
``right``, ``before``, ``after``, ``third``, ``grid``, ``axis`` and ``band``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape
from typing import Final

import numpy as np

from analysis.basics.arrays import Float

WIDTH: Final = 640.0
LEFT, RIGHT, TOP, BOTTOM = 56.0, 20.0, 24.0, 44.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Axis:
    """One axis of a chart.

    Attributes
    ----------
    label : str
        With its unit.
    """

    label: str
    low: float
    high: float
    ticks: tuple[float, ...]
    log: bool = False

    def part(self, value: Float | float) -> Float:
        """Return where values lie, 0 at the low and 1 at the high end."""
        values = np.asarray(value, dtype=float)
        if self.log:
            return np.log(values / self.low) / math.log(self.high / self.low)
        return np.asarray((values - self.low) / (self.high - self.low))


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class ChartLine:
    """A line of a chart, with its uncertainty where there is one.

    Attributes
    ----------
    name : str
        What the legend calls it.
    kind : str
        The page's class.
    x, y : ndarray, shape (n,)
        NaN where there is nothing.
    spread : ndarray, shape (n,), optional
        Half width of a band about it.
    """

    name: str
    kind: str
    x: Float
    y: Float
    spread: Float | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Chart:
    """What is drawn.

    Attributes
    ----------
    title : str
        What the figure shows, for those who can't see it: with its main figures.
    marks : tuple of (float, float, str)
        Points with a word above each.
    """

    title: str
    x: Axis
    y: Axis
    lines: tuple[ChartLine, ...]
    marks: tuple[tuple[float, float, str], ...] = ()
    height: float = field(default=300.0)


def chart_svg(chart: Chart, *, identifier: str) -> str:
    """Return a chart as SVG.

    Parameters
    ----------
    identifier : str
        Of the title; once in a page.
    """
    parts = [
        f'<svg viewBox="0 0 {WIDTH:.0f} {chart.height:.0f}" role="img" '
        f'aria-labelledby="{identifier}">',
        f'<title id="{identifier}">{escape(chart.title)}</title>',
        *_axes_svg(chart),
        f'<clipPath id="{identifier}-clip"><rect x="{LEFT}" y="{TOP}" '
        f'width="{WIDTH - LEFT - RIGHT}" height="{chart.height - TOP - BOTTOM}"/></clipPath>',
        f'<g clip-path="url(#{identifier}-clip)">',
        *(_uncertainty_svg(chart, line) for line in chart.lines if line.spread is not None),
        *(f'<path class="{line.kind}" d="{_line_svg(chart, line)}"/>' for line in chart.lines),
        "</g>",
        *_marks_svg(chart),
        *_legend_svg(chart.lines),
        "</svg>",
    ]
    return "\n".join(parts)


def _picture_coordinates(chart: Chart, x: Float | float, y: Float | float) -> tuple[Float, Float]:
    """Return where points lie in the picture."""
    across = LEFT + chart.x.part(x) * (WIDTH - LEFT - RIGHT)
    down = chart.height - BOTTOM - chart.y.part(y) * (chart.height - TOP - BOTTOM)
    return across, down


def _axes_svg(chart: Chart) -> list[str]:
    """Return grid, ticks and labels."""
    bottom, parts = chart.height - BOTTOM, []
    for tick in chart.x.ticks:
        at = float(_picture_coordinates(chart, tick, chart.y.low)[0])
        parts.append(f'<path class="grid" d="M{at:.1f} {TOP}V{bottom:.1f}"/>')
        parts.append(_text_svg(at, bottom + 16, f"{tick:g}", "middle"))
    for tick in chart.y.ticks:
        at = float(_picture_coordinates(chart, chart.x.low, tick)[1])
        parts.append(f'<path class="grid" d="M{LEFT} {at:.1f}H{WIDTH - RIGHT}"/>')
        parts.append(_text_svg(LEFT - 6, at + 4, f"{tick:g}".replace("-", "\N{MINUS SIGN}"), "end"))
    parts.append(_text_svg(WIDTH - RIGHT, chart.height - 6, chart.x.label, "end"))
    middle = (TOP + bottom) / 2
    parts.append(
        f'<text text-anchor="middle" transform="translate(12 {middle:.1f}) rotate(-90)">'
        f"{escape(chart.y.label)}</text>"
    )
    return parts


def _text_svg(x: float, y: float, words: str, anchor: str) -> str:
    """Return a word."""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(words)}</text>'


def _line_svg(chart: Chart, line: ChartLine) -> str:
    """Return a line's way, lifted where there is nothing."""
    across, down = _picture_coordinates(chart, line.x, line.y)
    steps, lifted = [], True
    for x, y in zip(across.tolist(), down.tolist(), strict=True):
        if not (math.isfinite(x) and math.isfinite(y)):
            lifted = True
            continue
        steps.append(f"{'M' if lifted else 'L'}{x:.1f} {y:.1f}")
        lifted = False
    return "".join(steps)


def _uncertainty_svg(chart: Chart, line: ChartLine) -> str:
    """Return the band of a line's uncertainty."""
    spread = np.asarray(line.spread)
    known = np.isfinite(line.y) & np.isfinite(spread)
    if not known.any():
        return ""
    x = np.concatenate((line.x[known], line.x[known][::-1]))
    low, high = (line.y - spread)[known], (line.y + spread)[known]
    across, down = _picture_coordinates(chart, x, np.concatenate((low, high[::-1])))
    points = " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(across, down, strict=True))
    return f'<polygon class="band" points="{points}"/>'


def _marks_svg(chart: Chart) -> list[str]:
    """Return the marked points; a word that would cover another is left out."""
    parts: list[str] = []
    taken: list[tuple[float, float]] = []
    for x, y, words in chart.marks:
        across, down = (float(one) for one in _picture_coordinates(chart, x, y))
        down = min(max(down, TOP + 12), chart.height - BOTTOM)
        parts.append(f'<circle class="mark" cx="{across:.1f}" cy="{down:.1f}" r="3"/>')
        wide = 5.0 * len(words)
        if words and all(abs(across - other) > wide + half for other, half in taken):
            middle = min(max(across, LEFT + wide), WIDTH - RIGHT - wide)
            # A dip's word hangs below it, where its curve isn't.
            aside = 18 if float(chart.y.part(y)) < 0.45 else -7
            parts.append(_text_svg(middle, down + aside, words, "middle"))
            taken.append((across, wide))
    return parts


def _legend_svg(lines: Sequence[ChartLine]) -> list[str]:
    """Return a sample of each line with its name."""
    parts, x = [], LEFT
    for line in lines:
        parts.append(f'<path class="{line.kind}" d="M{x:.1f} 10h26"/>')
        parts.append(_text_svg(x + 31, 15, line.name, "start"))
        x += 50 + 9.0 * len(line.name)
    return parts
