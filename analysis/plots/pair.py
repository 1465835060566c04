"""The first arrivals of left and right: what the gate keeps, and how far they are apart.

Conventions: time in ms from the earlier of the two arrivals; amplitude as a share of the
larger response's highest value in view. Curves are drawn through the samples by band-limited
interpolation.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedFormatter, FixedLocator
from scipy import fft

from analysis.basics.arrays import Float
from analysis.pair.arrival import ArrivalMatch
from analysis.plots import style
from analysis.signals.impulse_response import ImpulseResponse
from analysis.signals.onset import gate_weight

VIEW_S: Final = (-0.5e-3, 4e-3)
CLOSE_S: Final = (-0.2e-3, 0.4e-3)
FLOOR_S: Final = (1.5e-3, 3e-3)
"""Where the floor's reflection comes at usual heights and distances: shown where the
room isn't known."""

_TIMES: Final = 8
"""So many drawn points a sample."""

_PAD_S: Final = 2e-3


@style.apply_style
def arrival_figure(
    left: ImpulseResponse,
    right: ImpulseResponse,
    arrival: ArrivalMatch,
    *,
    floor_delay_s: tuple[float, float] | None = None,
) -> Figure:
    """Draw both responses around the first arrival, and both together close up.

    Parameters
    ----------
    left, right : ImpulseResponse
        On their common axis.
    floor_delay_s : tuple of float, optional
        When the floor's reflection follows the direct sound of left and right, in seconds,
        where the room is known.
    """
    figure, axes = style.make_panels(
        [1.45, 1.45, 1.75], title="First arrival at the microphone", gap_in=0.66, top_in=0.6
    )
    zero_s = min(arrival.left_s, arrival.right_s)
    curves = [_interpolated_curve(side, zero_s) for side in (left, right)]
    scale = max(float(np.max(np.abs(level))) for _, level in curves)
    curves = [(time_ms, level / scale) for time_ms, level in curves]
    ends_s = (arrival.left_s - zero_s, arrival.right_s - zero_s)
    for index, (name, ax) in enumerate(zip(("left", "right"), axes, strict=False)):
        floor_s = None if floor_delay_s is None else floor_delay_s[index]
        _draw_side(ax, name, curves[index], ends_s[index], arrival, floor_s)
    _draw_close_up(axes[2], curves, ends_s, arrival)
    return figure


def _interpolated_curve(response: ImpulseResponse, zero_s: float) -> tuple[Float, Float]:
    """Return times in ms and the band-limited curve in view."""
    rate_hz = response.sample_rate_hz
    first = int(np.floor((zero_s + VIEW_S[0] - _PAD_S - response.start_s) * rate_hz))
    n = int(np.ceil((VIEW_S[1] - VIEW_S[0] + 2 * _PAD_S) * rate_hz))
    index = first + np.arange(n)
    inside = (index >= 0) & (index < response.samples.size)
    cut = np.where(inside, response.samples[np.clip(index, 0, response.samples.size - 1)], 0.0)
    cut *= np.minimum(1, np.minimum(np.arange(n), np.arange(n)[::-1]) / (0.5e-3 * rate_hz))
    spectrum = fft.rfft(cut)
    fine = fft.irfft(spectrum, n * _TIMES) * _TIMES
    time_s = response.start_s + (first + np.arange(n * _TIMES) / _TIMES) / rate_hz - zero_s
    shown = (time_s >= VIEW_S[0]) & (time_s <= VIEW_S[1])
    return time_s[shown] * 1e3, fine[shown]


def _time_axis(ax: Axes, view_s: tuple[float, float], ticks_ms: list[float]) -> None:
    """Set the time axis and the amplitude axis of a panel."""
    ax.set_xlim(view_s[0] * 1e3, view_s[1] * 1e3)
    ax.xaxis.set_major_locator(FixedLocator(ticks_ms))
    ax.xaxis.set_major_formatter(
        FixedFormatter([f"{t:g}".replace("-", "\N{MINUS SIGN}") for t in ticks_ms])
    )
    style.set_y_ticks(ax, -1.15, 1.15, n_most=4)
    ax.set_xlabel("Time from the first arrival (ms)")
    ax.set_ylabel("Amplitude")
    ax.grid(visible=True, color=style.GRID, linewidth=0.5)
    ax.set_axisbelow(True)


def _draw_side(
    ax: Axes,
    name: str,
    curve: tuple[Float, Float],
    arrival_s: float,
    match: ArrivalMatch,
    floor_s: float | None,
) -> None:
    """Draw one loudspeaker's response with the gate and the floor's reflection."""
    _time_axis(ax, VIEW_S, [-0.5, 0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5, 4])
    time_s = np.linspace(*VIEW_S, 600)
    weight = gate_weight(time_s - arrival_s, match.gate_s[1])
    ax.fill_between(time_s * 1e3, -weight, weight, color=style.SHADE, linewidth=0)
    ax.plot(time_s * 1e3, weight, color=style.FAINT, linewidth=0.8, linestyle="--")
    ax.plot(time_s * 1e3, -weight, color=style.FAINT, linewidth=0.8, linestyle="--")
    ax.plot(*curve, linewidth=1.2, color=style.CURVES[name]["color"])
    ax.axvline(arrival_s * 1e3, color=style.INK, linewidth=0.8)
    _write_note(ax, (arrival_s + match.gate_s[1]) * 1e3 + 0.05, 1.08, "gate (dashed)", ha="left")
    if floor_s is None:
        ax.axvspan(FLOOR_S[0] * 1e3, FLOOR_S[1] * 1e3, ymax=0.06, color="0.8", linewidth=0)
        _write_note(
            ax, sum(FLOOR_S) * 500, -0.95, "usual time of the floor's reflection", ha="center"
        )
    else:
        at_ms = (arrival_s + floor_s) * 1e3
        ax.plot([at_ms, at_ms], [-0.9, 0.9], color=style.INK, linewidth=0.8, linestyle=":")
        _write_note(ax, at_ms + 0.05, -0.95, "floor's reflection by the room file", ha="left")
    ax.set_title(f"{style.NAMES[name]}: arrives at {arrival_s * 1e3:.3f} ms")


def _write_note(ax: Axes, x: float, y: float, text: str, *, ha: str) -> None:
    """Write a small note into a panel."""
    ax.text(
        x,
        y,
        text,
        ha=ha,
        va="top" if y > 0 else "bottom",
        fontsize=style.SMALL_PT,
        color=style.INK,
        gid="label",
    )


def _draw_close_up(
    ax: Axes,
    curves: list[tuple[Float, Float]],
    ends_s: tuple[float, float],
    match: ArrivalMatch,
) -> None:
    """Draw both around the arrival, and the difference."""
    _time_axis(ax, CLOSE_S, [-0.2, -0.1, 0, 0.1, 0.2, 0.3, 0.4])
    for name, curve, end_s in zip(("left", "right"), curves, ends_s, strict=True):
        ax.plot(*curve, linewidth=1.4, label=name, **style.CURVES[name])
        if CLOSE_S[0] < end_s < CLOSE_S[1]:
            ax.axvline(end_s * 1e3, linewidth=0.9, alpha=0.8, **style.CURVES[name])
    ax.legend(loc="lower right", handlelength=2.6)
    if match.difference_m is None or match.in_room_std_m is None:
        said = "difference withheld"
    else:
        said = (
            f"left minus right {match.difference_m * 1e3:+.1f} ± {match.in_room_std_m * 1e3:.1f} mm"
        ).replace("-", "\N{MINUS SIGN}")
    ax.set_title(f"Close up: {said}")
