"""The history of one pair: how arrival and bass went from take to take.

SVG text as `analysis.plots.page.chart` has it; takes stand in their order, one unit apart.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from analysis.basics.arrays import Float
from analysis.comparison.history import HistoryTake
from analysis.plots.page.chart import Axis, Chart, ChartLine, chart_svg

_KINDS = ("left", "right", "third")


def arrival_history_svg(points: Sequence[HistoryTake]) -> str:
    """Return the difference of arrival over the takes, with two sigma about it."""
    mm = _as_array([one.arrival_m for one in points]) * 1e3
    std_mm = _as_array([one.arrival_std_m for one in points]) * 1e3
    named = [f"{one.name} {value:.1f} mm" for one, value in zip(points, mm, strict=True)]
    chart = Chart(
        title=f"Left minus right over the takes: {'; '.join(named)}.",
        x=_take_axis(len(points)),
        y=_value_axis(
            [mm - 2 * std_mm, mm + 2 * std_mm, np.zeros(1)], "Left \N{MINUS SIGN} right (mm)"
        ),
        lines=(
            ChartLine(
                name="left \N{MINUS SIGN} right",
                kind="left",
                x=_take_numbers(points),
                y=mm,
                spread=2 * std_mm,
            ),
        ),
        marks=tuple((k + 1.0, float(v), "") for k, v in enumerate(mm) if math.isfinite(v)),
        height=240.0,
    )
    return chart_svg(chart, identifier="arrival-history")


def bass_history_svg(points: Sequence[HistoryTake]) -> str | None:
    """Return the level of each band of the bass over the takes; None where none is known."""
    bands = [name for name, _ in points[0].balance_db] if points else []
    columns = [_as_array([dict(one.balance_db).get(name) for one in points]) for name in bands]
    if not any(np.isfinite(one).any() for one in columns):
        return None
    lines = tuple(
        ChartLine(name=name, kind=kind, x=_take_numbers(points), y=values)
        for name, values, kind in zip(bands, columns, _KINDS, strict=False)
    )
    chart = Chart(
        title="Level of each band of the bass against 200 to 1000 Hz, both loudspeakers together, "
        f"over {len(points)} takes.",
        x=_take_axis(len(points)),
        y=_value_axis([*columns], "Level (dB)"),
        lines=lines,
        height=240.0,
    )
    return chart_svg(chart, identifier="bass-history")


def _as_array(values: Sequence[float | None]) -> Float:
    """Return numbers, NaN where there is none."""
    return np.array([math.nan if one is None else one for one in values])


def _take_numbers(points: Sequence[HistoryTake]) -> Float:
    """Return the places of takes."""
    return np.arange(1.0, len(points) + 1)


def _take_axis(n: int) -> Axis:
    """Return the axis of takes."""
    step = max(1, math.ceil(n / 12))
    ticks = tuple(float(k) for k in range(1, n + 1, step))
    return Axis(label="Take", low=0.5, high=n + 0.5, ticks=ticks)


def _value_axis(columns: Sequence[Float], label: str) -> Axis:
    """Return an axis with a handful of round ticks about all values."""
    values = np.concatenate([one[np.isfinite(one)] for one in columns])
    low, high = float(values.min()), float(values.max())
    rough = max(high - low, 1.0) / 4
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * factor for factor in (1, 2, 5, 10) if power * factor >= rough)
    first, last = math.floor(low / step), math.ceil(high / step)
    ticks = tuple(round(k * step, 6) for k in range(first, last + 1))
    return Axis(label=label, low=first * step, high=max(last, first + 1) * step, ticks=ticks)
