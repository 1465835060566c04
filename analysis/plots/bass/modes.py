"""Predicted room modes, as marks as long as each mode is strong, under the measured peaks.

Conventions: the pale bar is how strongly a mode's shape is felt at the seat, the dark one
how much of that the loudspeakers drive (their product, 0 to 1, signs left out); a mode whose
dark bar has no length makes no peak. All kinds of mode look alike. Indices stand in the
order length, width, height.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from analysis.bass.bass import Bass
from analysis.bass.causes.cause import NODE
from analysis.plots import style
from analysis.room.prediction import CURVES, Curve, Prediction

PANEL_IN: Final = 1.75
LOW_HZ: Final = 15.0
HIGHEST_HZ: Final = 300.0
LEAST_HIGH_HZ: Final = 120.0
"""The axis ends at the Schroeder frequency, but not below this: single modes mean little
above."""

PALE: Final = "0.78"
TOP: Final = 1.62
"""Upper end of a panel in units of coupling: room for peaks and labels."""

_PEAK_AT: Final = 1.12


@style.apply_style
def modes_figure(prediction: Prediction, bass: Bass) -> Figure:
    """Draw how strongly each mode couples, and where peaks were measured.

    Parameters
    ----------
    bass : Bass
        Measured; sides that weren't heard show their modes only.

    Returns
    -------
    Figure
        Panels for left, right and both.
    """
    figure, axes = style.make_panels(
        [PANEL_IN] * 3, title="Room modes and measured peaks", bottom_in=1.02, gap_in=0.42
    )
    high_hz = min(HIGHEST_HZ, max(LEAST_HIGH_HZ, prediction.schroeder_hz))
    sides = dict(bass.sides)
    for curve, ax in zip(CURVES, axes, strict=True):
        style.set_bass_axis(ax, low_hz=LOW_HZ, high_hz=high_hz, label=curve == CURVES[-1])
        ax.set_ylabel("Coupling")
        ax.set_title(style.NAMES[curve])
        side = sides.get(curve)
        peaks = [] if side is None else [one.feature for one in side.features]
        peaks_hz = [peak.frequency_hz for peak in peaks if peak.kind == "peak"]
        _draw_modes(ax, prediction, curve, high_hz)
        _draw_peaks(ax, [peak_hz for peak_hz in peaks_hz if LOW_HZ < peak_hz < high_hz])
    of_box = prediction.modes.indices is not None
    _draw_legend(figure, "length width height" if of_box else "by rising frequency")
    return figure


def _draw_modes(ax: Axes, prediction: Prediction, curve: Curve, high_hz: float) -> None:
    """Draw the bars of one panel and name the strongest modes."""
    frequency_hz = prediction.modes.frequency_hz
    inside = np.flatnonzero((frequency_hz >= LOW_HZ) & (frequency_hz <= high_hz))
    seat = np.abs(prediction.seat_shape[inside])
    coupling = np.abs(prediction.coupling(curve)[inside])
    style.set_y_ticks(ax, 0.0, TOP)
    ax.set_yticks([0, 0.5, 1], ["0", "0.5", "1"])
    ax.vlines(frequency_hz[inside], 0, seat, color=PALE, linewidth=3.2)
    ax.vlines(frequency_hz[inside], 0, coupling, color=style.INK, linewidth=1.5)
    named = np.flatnonzero(seat >= NODE)
    style.draw_label_row(
        ax,
        [(float(frequency_hz[inside[k]]), float(seat[k])) for k in named],
        [_mode_label(prediction, int(inside[k])) for k in named],
        at=1.32 / TOP,
        above=True,
        weights=[float(coupling[k] + 0.5 * seat[k]) for k in named],
        farthest=0.05,
    )


def _mode_label(prediction: Prediction, k: int) -> str:
    """Return a mode's indices, or its number where the room is no box."""
    indices = prediction.modes.indices
    return str(k + 1) if indices is None else " ".join(str(i) for i in indices[k])


def _draw_peaks(ax: Axes, peaks_hz: list[float]) -> None:
    """Mark the measured peaks above the bars."""
    for peak_hz in peaks_hz:
        ax.plot([peak_hz, peak_hz], [0, _PEAK_AT], color="0.45", linewidth=0.7, linestyle=":")
    ax.plot(
        peaks_hz,
        [_PEAK_AT] * len(peaks_hz),
        marker="v",
        linestyle="",
        markersize=6,
        color=style.CURVES["right"]["color"],
        markeredgecolor=style.INK,
        markeredgewidth=0.6,
        zorder=4,
    )


def _draw_legend(figure: Figure, numbers: str) -> None:
    """Explain bars and marks below the panels."""
    figure.legend(
        handles=[
            Line2D([], [], color=PALE, linewidth=3.2, label="felt at the seat"),
            Line2D([], [], color=style.INK, linewidth=1.5, label="and driven by the loudspeaker"),
            Line2D(
                [],
                [],
                marker="v",
                linestyle="",
                color=style.CURVES["right"]["color"],
                markeredgecolor=style.INK,
                markeredgewidth=0.6,
                label="measured peak",
            ),
            Line2D([], [], linestyle="", label=f"numbers: {numbers}"),
        ],
        loc="lower left",
        bbox_to_anchor=(0.01, 0.0),
        ncols=2,
        columnspacing=1.0,
        handlelength=1.6,
    )
