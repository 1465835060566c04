"""Before and after: the bass of each loudspeaker, and the arrival difference.

Conventions: before is light and broad, after dark and narrow, drawn over it; a gain common to both
loudspeakers is taken out of the after curves. Curves are smoothed over 1/6 octave, with the
unsmoothed ones thin behind them.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import FixedFormatter, FixedLocator

from analysis.bass.curve import BassCurve
from analysis.comparison.compare import Comparison, ValueChange
from analysis.comparison.feature_changes import FeatureChange
from analysis.plots import style
from analysis.room.prediction import Curve

BEFORE: Final[dict[str, Any]] = {"color": "#e8a866", "linewidth": 3.4}
AFTER: Final[dict[str, Any]] = {"color": "#12355b", "linewidth": 1.3}

PANEL_IN: Final = 2.1
RANGE_DB: Final = 40.0

_ROW: Final = 0.13

_SIGNS: Final = {
    "moved": "moved",
    "filled": "filled",
    "deepened": "deeper",
    "grown": "grown",
    "reduced": "reduced",
    "gone": "gone",
    "new": "new",
}


@style.apply_style
def comparison_figure(comparison: Comparison) -> Figure:
    """Draw what changed.

    Returns
    -------
    Figure
        A panel for each loudspeaker heard both times, and one for the arrival if there is
        one both times.

    Raises
    ------
    ValueError
        If there is nothing to draw.
    """
    names: list[Curve] = [name for name in ("left", "right") if name in comparison.curves]
    heights = [PANEL_IN] * len(names) + [0.75] * (comparison.arrival is not None)
    if not heights:
        msg = "comparison holds neither a curve nor an arrival to draw"
        raise ValueError(msg)
    figure, axes = style.make_panels(heights, title="Before and after", bottom_in=0.78, gap_in=0.68)
    for name, ax in zip(names, axes, strict=False):
        changes = [one for one in comparison.features if one.curve == name and one.changes]
        _draw_curves(ax, name, comparison.curves[name], changes, comparison.gain.gain_db)
    if comparison.arrival is not None:
        _draw_arrival(axes[-1], comparison.arrival)
    entries = [
        Line2D([], [], label="before", **BEFORE),
        Line2D([], [], label=_after_label(comparison), **AFTER),
    ]
    figure.legend(
        handles=entries, loc="lower left", bbox_to_anchor=(0.01, 0.0), ncols=2, handlelength=2.6
    )
    return figure


def _after_label(comparison: Comparison) -> str:
    """Return the name of the after curves."""
    gain_db = comparison.gain.gain_db
    if not comparison.gain.changed:
        return "after"
    return f"after, gain of {gain_db:+.1f} dB taken out".replace("-", "\N{MINUS SIGN}")


def _draw_curves(
    ax: Axes,
    name: Curve,
    curves: tuple[BassCurve, BassCurve],
    changes: list[FeatureChange],
    gain_db: float,
) -> None:
    """Draw one loudspeaker before and after."""
    style.set_bass_axis(ax, label=True)
    drawn = []
    for curve, look, offset_db in zip(curves, (BEFORE, AFTER), (0.0, gain_db), strict=True):
        level = np.where(curve.covered, curve.level_db - offset_db, np.nan)
        smooth = np.where(curve.covered, curve.sixth_octave_db - offset_db, np.nan)
        ax.plot(curve.frequency_hz, level, color=look["color"], linewidth=0.5, alpha=0.6)
        ax.plot(curve.frequency_hz, smooth, **look)
        drawn.append((curve.frequency_hz, level))
    top = max(float(np.nanmax(level)) for _, level in drawn)
    low = min(top - RANGE_DB, *(float(np.nanpercentile(level, 0.3)) for _, level in drawn))
    reach = (top - low) / (1 - _ROW - 0.08)
    style.set_y_ticks(ax, low, low + reach)
    ax.set_ylabel("Level (dB)")
    ax.set_title(style.NAMES[name])
    if not changes:
        ax.text(
            0.5,
            1 - _ROW,
            "no peak or dip changed beyond the uncertainty",
            transform=ax.transAxes,
            ha="center",
            fontsize=style.SMALL_PT,
            gid="label",
        )
    _label_changes(ax, changes, drawn)


def _label_changes(
    ax: Axes, changes: list[FeatureChange], drawn: list[tuple[np.ndarray[Any, Any], Any]]
) -> None:
    """Name the changes along the top."""
    points, texts, weights = [], [], []
    low_db, _ = ax.get_ylim()
    for one in changes:
        frequency_hz, level = drawn[0] if one.after is None else drawn[1]
        feature = one.before if one.after is None else one.after
        if feature is None:
            continue
        height_db = float(np.interp(feature.frequency_hz, frequency_hz, level))
        points.append((feature.frequency_hz, max(height_db, low_db)))
        texts.append(f"{feature.frequency_hz:.0f} Hz\n{_SIGNS[one.changes[0]]}")
        weights.append(
            feature.prominence_db if one.level_change_db is None else abs(one.level_change_db)
        )
        ax.plot(*points[-1], marker="o", markersize=3.5, color=style.INK, zorder=3)
    order = sorted(range(len(points)), key=lambda i: points[i][0])
    style.draw_label_row(
        ax,
        [points[i] for i in order],
        [texts[i] for i in order],
        at=1 - _ROW,
        above=True,
        weights=[weights[i] for i in order],
    )


def _draw_arrival(ax: Axes, arrival: ValueChange) -> None:
    """Draw the arrival difference before and after with two sigma."""
    reach_mm = 2 * arrival.counted_std / np.sqrt(2) * 1e3
    rows = ((1, arrival.before, BEFORE), (0, arrival.after, AFTER))
    for row, value_m, look in rows:
        ax.errorbar(
            value_m * 1e3,
            row,
            xerr=reach_mm,
            marker="o",
            markersize=5,
            capsize=3,
            color=look["color"],
            linewidth=1.4,
        )
    ends = [value_m * 1e3 for _, value_m, _ in rows]
    low, high = min(*ends, 0.0) - 2 * reach_mm, max(*ends, 0.0) + 2 * reach_mm
    ax.set_xlim(low, high)
    ticks = style.round_ticks(low, high)
    ax.xaxis.set_major_locator(FixedLocator(ticks))
    ax.xaxis.set_major_formatter(
        FixedFormatter([f"{tick:g}".replace("-", "\N{MINUS SIGN}") for tick in ticks])
    )
    ax.axvline(0, color=style.INK, linewidth=0.8)
    ax.set_ylim(-0.6, 1.6)
    ax.yaxis.set_major_locator(FixedLocator([1, 0]))
    ax.yaxis.set_major_formatter(FixedFormatter(["before", "after"]))
    ax.grid(visible=True, axis="x", color=style.GRID, linewidth=0.5)
    ax.set_axisbelow(True)
    ax.set_xlabel("Arrival, left minus right (mm), bars: two standard deviations")
    ax.set_title("Arrival difference")
