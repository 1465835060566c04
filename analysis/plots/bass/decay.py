"""How the strongest bass peaks ring: their narrow bands in dB over time.

Conventions: time from the first sound; level against the band's highest; the dashed line
falls by 60 dB in the decay time that was fitted; dotted is the noise.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import FixedFormatter, FixedLocator

from analysis.bass.bass import Bass, BassSide
from analysis.bass.envelope import ABOVE_NOISE_DB, band_envelope
from analysis.bass.features import Feature
from analysis.plots import style

N_PEAKS: Final = 4

PANEL_IN: Final = 1.25

RANGE_DB: Final = (-70.0, 5.0)

SHORTEST_S: Final = 0.4
"""The time axis is at least so long."""


@style.apply_style
def decay_figure(bass: Bass) -> Figure:
    """Draw the decay of the strongest peaks.

    Parameters
    ----------
    bass : Bass
        Both together if there, else the loudspeaker that was heard.

    Returns
    -------
    Figure
        One panel a peak, at most ``N_PEAKS``, those with a decay time first.

    Raises
    ------
    ValueError
        If nothing was heard.
    """
    sides = dict(bass.sides)
    if not sides:
        msg = "bass holds no curve to draw"
        raise ValueError(msg)
    name = "both" if "both" in sides else next(iter(sides))
    peaks = strongest_peaks(sides[name])
    title = f"Decay of the strongest peaks: {style.NAMES[name].lower()}"
    if not peaks:
        figure, axes = style.make_panels([PANEL_IN], title=title)
        axes[0].set_axis_off()
        axes[0].set_title("No peak stands out")
        return figure
    figure, axes = style.make_panels(
        [PANEL_IN] * len(peaks), title=title, bottom_in=0.75, gap_in=0.66
    )
    for feature, ax in zip(peaks, axes, strict=True):
        _draw_peak(ax, sides[name], feature)
    figure.legend(
        handles=[
            Line2D([], [], linewidth=1.3, label="envelope", **style.CURVES["left"]),
            Line2D([], [], linewidth=1.6, label="fitted decay", **style.CURVES["right"]),
            Line2D([], [], linewidth=1.0, color="0.4", linestyle=":", label="noise"),
        ],
        loc="lower left",
        bbox_to_anchor=(0.01, 0.0),
        ncols=3,
        handlelength=2.6,
    )
    return figure


def strongest_peaks(side: BassSide) -> list[Feature]:
    """Return the peaks to draw, by rising frequency: with a decay time first, then by size."""
    peaks = [one.feature for one in side.features if one.feature.kind == "peak"]
    peaks.sort(key=lambda peak: (peak.decay_s is None, -peak.prominence_db))
    return sorted(peaks[:N_PEAKS], key=lambda peak: peak.frequency_hz)


def _draw_peak(ax: Axes, side: BassSide, feature: Feature) -> None:
    """Draw one band with its fit and noise."""
    envelope = band_envelope(side.curve, feature.frequency_hz)
    shown = np.flatnonzero(envelope.level_db > max(envelope.noise_db, RANGE_DB[0]) + ABOVE_NOISE_DB)
    end_s = max(SHORTEST_S, 1.2 * float(envelope.time_s[shown[-1]]) if shown.size else 0.0)
    end_s = min(end_s, float(envelope.time_s[-1]))
    ax.plot(envelope.time_s, envelope.level_db, linewidth=1.3, **style.CURVES["left"])
    ax.axhline(envelope.noise_db, color="0.4", linewidth=1.0, linestyle=":")
    said = "decay not told"
    if feature.decay_s is not None:
        said = f"{feature.decay_s:.2f} s for 60 dB"
        if feature.decay_std_s is not None:
            said = f"{feature.decay_s:.2f} ± {max(feature.decay_std_s, 0.01):.2f} s for 60 dB"
        ax.plot(*envelope.decay_line(feature.decay_s), linewidth=1.6, **style.CURVES["right"])
    ax.set_xlim(-0.1, end_s)
    ticks = style.round_ticks(0, end_s, n_most=7)
    ax.xaxis.set_major_locator(FixedLocator(ticks))
    ax.xaxis.set_major_formatter(FixedFormatter([f"{tick:g}" for tick in ticks]))
    style.set_y_ticks(ax, *RANGE_DB, n_most=4)
    ax.grid(visible=True, color=style.GRID, linewidth=0.5)
    ax.set_axisbelow(True)
    ax.set_xlabel("Time from the first sound (s)")
    ax.set_ylabel("Level (dB)")
    ax.set_title(f"{feature.frequency_hz:.1f} Hz: {said}")
