"""What all figures share: size, greys, line styles, axes, labels that keep apart, saving.

Conventions: a figure is ``WIDTH_IN`` wide, so that its 9-point text is still about 9 pixels
high on a page of 390 pixels. Margins and ticks are fixed: a layout engine takes three
times as long. No state outlives a call: settings hold inside `apply_style` only.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import wraps
from typing import IO, Any, Final, ParamSpec

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedFormatter, FixedLocator, NullLocator
from scipy.optimize import isotonic_regression

from analysis.basics.arrays import Float

WIDTH_IN: Final = 5.6
DPI: Final = 160
"""Of a PNG: 896 pixels wide."""

FONT_PT: Final = 9.0
SMALL_PT: Final = 7.5

INK: Final = "0.15"
GRID: Final = "0.88"
FAINT: Final = "0.65"
SHADE: Final = "0.93"

CURVES: Final[dict[str, dict[str, Any]]] = {
    "left": {"color": "#12355b", "linestyle": "-"},
    "right": {"color": "#d1751c", "linestyle": (0, (5, 1.6))},
    "both": {"color": "0.3", "linestyle": "-"},
}
"""Left is dark and solid, right is light and dashed."""

NAMES: Final = {"left": "Left loudspeaker", "right": "Right loudspeaker", "both": "Both together"}

CAUSES: Final[dict[str, dict[str, Any]]] = {
    "mode": {"marker": "o", "markerfacecolor": INK},
    "boundary": {"marker": "s", "markerfacecolor": "white"},
    "unexplained": {"marker": "x", "markerfacecolor": INK},
}
"""A cause is told by the shape of its mark."""

BASS_TICKS_HZ: Final = (20, 30, 40, 50, 70, 100, 150, 200, 300)

_SETTINGS: Final[Any] = {
    "font.family": "DejaVu Sans",
    "font.size": FONT_PT,
    "axes.titlesize": FONT_PT,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.titlepad": 4.0,
    "axes.labelsize": FONT_PT,
    "axes.edgecolor": "0.5",
    "axes.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "xtick.labelsize": FONT_PT - 0.5,
    "ytick.labelsize": FONT_PT - 0.5,
    "legend.fontsize": FONT_PT - 0.5,
    "legend.frameon": False,
    "svg.hashsalt": "apexline",
    "svg.fonttype": "path",
    "path.simplify": True,
}

_EM_PER_CHARACTER: Final = 0.66
"""Width of a character over the font's size: digits of the font have 0.636."""

_P = ParamSpec("_P")


def apply_style(draw: Callable[_P, Figure]) -> Callable[_P, Figure]:
    """Return the drawing function under the shared settings, whatever the user's are."""

    @wraps(draw)
    def under_settings(*args: _P.args, **kwargs: _P.kwargs) -> Figure:
        with mpl.rc_context(_SETTINGS):
            return draw(*args, **kwargs)

    return under_settings


def save_figure(figure: Figure, stream: IO[bytes], *, file_format: str) -> None:
    """Write a figure into a binary stream, the same bytes each time.

    Parameters
    ----------
    stream : binary file
        Open for writing.
    file_format : {"png", "svg"}

    Raises
    ------
    ValueError
        If the format is neither.
    """
    if file_format not in ("png", "svg"):
        msg = f"file_format {file_format!r} must be 'png' or 'svg'"
        raise ValueError(msg)
    metadata = {"Date": None} if file_format == "svg" else {"Software": None}
    with mpl.rc_context(_SETTINGS):
        figure.savefig(stream, format=file_format, dpi=DPI, metadata=metadata)


def make_panels(
    heights_in: Sequence[float],
    *,
    title: str,
    left_in: float = 0.62,
    top_in: float = 0.62,
    bottom_in: float = 0.48,
    gap_in: float = 0.42,
    right_in: float = 0.15,
) -> tuple[Figure, list[Axes]]:
    """Return a figure with panels one below the other at fixed places.

    Parameters
    ----------
    heights_in : sequence of float
        Height of each panel, in inches.
    title : str
        Of the whole figure.
    left_in, top_in, bottom_in, gap_in, right_in : float
        Margins and the space between panels, in inches.

    Returns
    -------
    figure : Figure
    axes : list of Axes
        From top to bottom.
    """
    height_in = top_in + sum(heights_in) + gap_in * (len(heights_in) - 1) + bottom_in
    figure = Figure(figsize=(WIDTH_IN, height_in))
    figure.text(
        0.12 / WIDTH_IN,
        1 - 0.12 / height_in,
        title,
        fontsize=FONT_PT + 2,
        fontweight="bold",
        va="top",
        color=INK,
    )
    axes = []
    top = height_in - top_in
    for panel_in in heights_in:
        box = (
            left_in / WIDTH_IN,
            (top - panel_in) / height_in,
            (WIDTH_IN - left_in - right_in) / WIDTH_IN,
            panel_in / height_in,
        )
        axes.append(figure.add_axes(box))
        top -= panel_in + gap_in
    return figure, axes


def set_bass_axis(ax: Axes, *, low_hz: float = 15.0, high_hz: float = 300.0, label: bool) -> None:
    """Give a panel the logarithmic frequency axis of the bass."""
    ax.set_xscale("log")
    ax.set_xlim(low_hz, high_hz)
    shown = [tick for tick in BASS_TICKS_HZ if low_hz <= tick <= high_hz]
    ax.xaxis.set_major_locator(FixedLocator(shown))
    ax.xaxis.set_major_formatter(FixedFormatter([str(tick) for tick in shown]))
    ax.xaxis.set_minor_locator(NullLocator())
    ax.grid(visible=True, color=GRID, linewidth=0.5)
    ax.set_axisbelow(True)
    if label:
        ax.set_xlabel("Frequency (Hz)")


def round_ticks(low: float, high: float, *, n_most: int = 6) -> list[float]:
    """Return round numbers from `low` to `high`, at most `n_most` and a few.

    Parameters
    ----------
    low, high : float
        `high` above `low`.

    Examples
    --------
    >>> round_ticks(-3.0, 17.0)
    [0.0, 5.0, 10.0, 15.0]
    """
    rough = (high - low) / n_most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * factor for factor in (1, 2, 5, 10) if power * factor >= rough)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [round(index * step, 10) for index in range(first, last + 1)]


def set_y_ticks(ax: Axes, low: float, high: float, *, n_most: int = 6) -> None:
    """Set a panel's limits and fixed ticks on the vertical axis."""
    ax.set_ylim(low, high)
    ticks = round_ticks(low, high, n_most=n_most)
    ax.yaxis.set_major_locator(FixedLocator(ticks))
    ax.yaxis.set_major_formatter(
        FixedFormatter([f"{tick:g}".replace("-", "\N{MINUS SIGN}") for tick in ticks])
    )


def text_width_in(text: str, *, size_pt: float = SMALL_PT) -> float:
    """Return about how wide a text is, never less, in inches."""
    longest = max(len(line) for line in text.split("\n"))
    return longest * _EM_PER_CHARACTER * size_pt / 72


def separate_labels(places: Float, widths: Float, *, low: float, high: float) -> Float:
    """Return places as near as possible to those wanted, at which widths don't overlap.

    Parameters
    ----------
    places : ndarray, shape (n,)
        Wanted centres, rising.
    widths : ndarray, shape (n,)
        Of each, in the same unit; together at most `high` - `low`.
    low, high : float
        Ends between which everything must lie.

    Returns
    -------
    ndarray, shape (n,)
        Centres with the least sum of squared shifts.

    Notes
    -----
    With the half widths to the left summed up, keeping apart is keeping order: isotonic
    regression.

    Examples
    --------
    Two labels of width 2 that both want to stand at 5:

    >>> separate_labels(np.array([5.0, 5.0]), np.array([2.0, 2.0]), low=0.0, high=10.0).tolist()
    [4.0, 6.0]
    """
    if places.size == 0:
        return places
    offset = np.cumsum(widths) - 0.5 * widths
    inner = isotonic_regression(places - offset).x
    return np.asarray(np.clip(inner, low, high - float(widths.sum())) + offset)


def choose_labels(
    places: Float, widths: Float, weights: Sequence[float], *, farthest: float
) -> tuple[list[int], Float]:
    """Choose which labels to keep so that each stands near its place.

    Parameters
    ----------
    places : ndarray, shape (n,)
        Wanted centres from 0 to 1, rising.
    widths : ndarray, shape (n,)
    weights : sequence of float
        The heaviest are placed first; what then finds no room is left out.
    farthest : float
        No label is shifted more than this, unless at an end.

    Returns
    -------
    indices : list of int
        What is kept, rising.
    centres : ndarray
        Where.
    """
    kept: list[int] = []
    centres = np.zeros(0)
    for index in sorted(range(places.size), key=lambda i: -weights[i]):
        tried = sorted([*kept, index])
        if float(widths[tried].sum()) > 1:
            continue
        at = separate_labels(places[tried], widths[tried], low=0.0, high=1.0)
        wanted = np.clip(places[tried], 0.5 * widths[tried], 1 - 0.5 * widths[tried])
        if float(np.max(np.abs(at - wanted))) <= farthest:
            kept, centres = tried, at
    return kept, centres


def draw_label_row(
    ax: Axes,
    points: Sequence[tuple[float, float]],
    texts: Sequence[str],
    *,
    at: float,
    above: bool,
    weights: Sequence[float],
    farthest: float = 0.07,
) -> None:
    """Label points of a panel in a row along its top or bottom, with thin leaders.

    Parameters
    ----------
    ax : Axes
        With final limits and scale.
    points : sequence of (float, float)
        In data units, by rising x.
    texts : sequence of str
        One a point.
    at : float
        Height of the row's inner edge, in parts of the panel's height.
    above : bool
        Whether the texts stand on `at`, or hang from it.
    weights : sequence of float
        Where not all fit, those with the largest are kept.
    farthest : float
        How far a text may stand from its point, in parts of the panel's width.
    """
    if not points:
        return
    width_in = ax.get_position().width * WIDTH_IN
    widths = np.array([(text_width_in(text) + 0.04) / width_in for text in texts])
    to_panel = ax.transData + ax.transAxes.inverted()
    ends = [to_panel.transform(point) for point in points]
    places = np.array([float(end[0]) for end in ends])
    kept, centres = choose_labels(places, widths, weights, farthest=farthest)
    for index, centre in zip(kept, centres, strict=True):
        end = ends[index]
        _draw_label(
            ax, (float(end[0]), float(end[1])), (float(centre), at), texts[index], above=above
        )


def _draw_label(
    ax: Axes, point: tuple[float, float], place: tuple[float, float], text: str, *, above: bool
) -> None:
    """Write one label with its leader; both ends in parts of the panel."""
    ax.plot(
        [point[0], place[0]],
        [point[1], place[1]],
        color=FAINT,
        linewidth=0.5,
        transform=ax.transAxes,
        zorder=1.5,
    )
    ax.text(
        *place,
        text,
        transform=ax.transAxes,
        ha="center",
        va="baseline" if above else "top",
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.4},
        zorder=4,
        fontsize=SMALL_PT,
        linespacing=1.05,
        color=INK,
        gid="label",
    )
