"""The bass curves of left, right and both, with their peaks and dips marked by cause.

Conventions: levels in dB, recorded over played; the thin line is unsmoothed, the thick one
smoothed over 1/6 octave; the dotted line is the noise. Where several microphone positions were
measured, the band is their mean plus and minus one standard deviation.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from analysis.bass.bass import Bass, BassSide, ExplainedFeature
from analysis.plots import style

PANEL_IN: Final = 2.15
RANGE_DB: Final = 45.0
"""A panel reaches at least so far down from its highest level."""

_ROW: Final = 0.13
"""Height of a row of labels, in parts of a panel."""


@style.apply_style
def bass_figure(bass: Bass) -> Figure:
    """Draw the bass curves with features.

    Returns
    -------
    Figure
        One panel for each of left, right and both that was heard.

    Raises
    ------
    ValueError
        If nothing was heard.
    """
    sides = bass.sides
    if not sides:
        msg = "bass holds no curve to draw"
        raise ValueError(msg)
    figure, axes = style.make_panels(
        [PANEL_IN] * len(sides), title="Bass at the seat", bottom_in=1.12, top_in=0.6
    )
    for (name, side), ax in zip(sides, axes, strict=True):
        _draw_side(ax, name, side, last=ax is axes[-1])
    _draw_legend(figure, spread=any(side.position_average is not None for _, side in sides))
    return figure


def cause_label(feature: ExplainedFeature) -> str:
    """Return two short lines: frequency, and a mode's indices or a boundary's surface."""
    top = feature.causes[0]
    place = f"{feature.feature.frequency_hz:.0f} Hz"
    if not feature.advisable:
        return f"{place}\n(here only)"
    if top.cause == "mode" and top.indices is not None:
        return f"{place}\n{' '.join(str(index) for index in top.indices)}"
    if top.cause == "mode":
        return f"{place}\nno. {top.number}"
    if top.cause == "boundary" and top.surface is not None:
        return f"{place}\n{top.surface}"
    return f"{place}\n?"


def _draw_side(ax: Axes, name: str, side: BassSide, *, last: bool) -> None:
    """Draw one panel."""
    curve = side.curve
    color = style.CURVES[name]["color"]
    style.set_bass_axis(ax, label=last)
    level = np.where(curve.covered, curve.level_db, np.nan)
    smooth = np.where(curve.covered, curve.sixth_octave_db, np.nan)
    noise = np.where(curve.covered, curve.noise_level_db, np.nan)
    if side.position_average is not None and side.position_average.spread_db is not None:
        middle, half = side.position_average.level_db, side.position_average.spread_db
        ax.fill_between(
            side.position_average.frequency_hz,
            middle - half,
            middle + half,
            color="0.85",
            linewidth=0,
        )
    ax.plot(curve.frequency_hz, noise, color=style.FAINT, linewidth=0.8, linestyle=":")
    ax.plot(curve.frequency_hz, level, color=color, linewidth=0.7, alpha=0.75)
    ax.plot(curve.frequency_hz, smooth, color=color, linewidth=1.9)
    top = float(np.nanmax(level)) if np.any(curve.covered) else 0.0
    low = min(float(np.nanpercentile(level, 1)) if np.any(curve.covered) else 0.0, top - RANGE_DB)
    # Room for one row of labels above the highest peak and one below the lowest dip.
    reach = (top - low) / (1 - 2 * _ROW - 0.1)
    style.set_y_ticks(ax, low - (_ROW + 0.05) * reach, top + (_ROW + 0.05) * reach)
    ax.set_ylabel("Level (dB)")
    ax.set_title(style.NAMES[name])
    _draw_features(ax, side.features)


def _draw_features(ax: Axes, features: tuple[ExplainedFeature, ...]) -> None:
    """Mark the features and label as many as fit, peaks above and dips below."""
    low_db, high_db = ax.get_ylim()
    for kind, at, above in (("peak", 1 - _ROW, True), ("dip", _ROW, False)):
        chosen = [one for one in features if one.feature.kind == kind]
        points = [(one.feature.frequency_hz, _curve_level_db(ax, one)) for one in chosen]
        points = [(x, min(max(y, low_db + _ROW * (high_db - low_db)), high_db)) for x, y in points]
        for one, (x, y) in zip(chosen, points, strict=True):
            look = style.CAUSES[one.causes[0].cause]
            ax.plot(x, y, markersize=4.5, markeredgecolor=style.INK, linestyle="", zorder=3, **look)
        style.draw_label_row(
            ax,
            points,
            [cause_label(one) for one in chosen],
            at=at,
            above=above,
            weights=[one.feature.prominence_db for one in chosen],
        )


def _curve_level_db(ax: Axes, one: ExplainedFeature) -> float:
    """Return where the unsmoothed curve of the panel passes a feature."""
    line = ax.get_lines()[1]
    frequency_hz = np.asarray(line.get_xdata(), dtype=np.float64)
    level_db = np.asarray(line.get_ydata(), dtype=np.float64)
    return float(np.interp(one.feature.frequency_hz, frequency_hz, level_db))


def _draw_legend(figure: Figure, *, spread: bool) -> None:
    """Explain marks and lines below the panels."""
    marks = {
        "mode": "room mode (length width height)",
        "boundary": "reflection from a surface",
        "unexplained": "not explained",
    }
    entries: list[Line2D | Patch] = [
        Line2D([], [], linestyle="", markersize=4.5, markeredgecolor=style.INK, label=text, **look)
        for text, look in ((marks[cause], style.CAUSES[cause]) for cause in marks)
    ]
    entries += [
        Line2D([], [], color="0.3", linewidth=1.9, label="1/6 octave"),
        Line2D([], [], color="0.3", linewidth=0.7, label="not smoothed"),
        Line2D([], [], color=style.FAINT, linewidth=0.8, linestyle=":", label="noise"),
    ]
    if spread:
        entries.append(Patch(color="0.85", label="spread of the spots"))
    figure.legend(
        handles=entries,
        loc="lower left",
        bbox_to_anchor=(0.01, 0.0),
        ncols=2,
        columnspacing=1.0,
        handlelength=1.6,
    )
