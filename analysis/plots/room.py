"""What each surface of a room does to the direct sound in the bass, one panel a surface.

Conventions: dB against the direct sound of the same loudspeaker alone; the surface's single
reflection is added to it and nothing else. The last panel adds all of them.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from analysis.basics.arrays import Float
from analysis.plots import style
from analysis.room.reflections import Reflection, together_db

PANEL_IN: Final = 0.85

RANGE_DB: Final = (-18.0, 15.0)
"""Deeper dips are cut off: with the rest of the room's sound none is so deep."""

LOW_HZ: Final = 20.0
HIGH_HZ: Final = 300.0
N_POINTS: Final = 500


@style.apply_style
def reflections_figure(
    heard: Mapping[str, tuple[Reflection, ...]], *, speed_of_sound_m_s: float
) -> Figure:
    """Draw the effect of each surface's reflection, and of all together.

    Parameters
    ----------
    heard : mapping of str to tuple of Reflection
        Of ``left`` and ``right``, from `analysis.room.reflections.reflections`.
    """
    surfaces = list(dict.fromkeys(one.surface for many in heard.values() for one in many))
    figure, axes = style.make_panels(
        [PANEL_IN] * (len(surfaces) + 1),
        title="Each surface's reflection with the direct sound",
        bottom_in=0.78,
        gap_in=0.3,
    )
    frequency_hz = np.geomspace(LOW_HZ, HIGH_HZ, N_POINTS)
    for ax, surface in zip(axes, [*surfaces, None], strict=True):
        style.set_bass_axis(ax, low_hz=LOW_HZ, high_hz=HIGH_HZ, label=surface is None)
        style.set_y_ticks(ax, *RANGE_DB, n_most=4)
        ax.set_ylabel("dB")
        ax.tick_params(labelbottom=surface is None)
        ax.set_title("All of these together" if surface is None else surface.capitalize())
        _draw_panel(ax, heard, surface, frequency_hz, speed_of_sound_m_s)
    figure.legend(
        handles=[
            Line2D([], [], linewidth=1.4, label=style.NAMES[side], **style.CURVES[side])
            for side in heard
        ],
        loc="lower left",
        bbox_to_anchor=(0.01, 0.0),
        ncols=2,
    )
    return figure


def _draw_panel(
    ax: Axes,
    heard: Mapping[str, tuple[Reflection, ...]],
    surface: str | None,
    frequency_hz: Float,
    speed_of_sound_m_s: float,
) -> None:
    """Draw one surface, or all."""
    ax.axhline(0, color=style.FAINT, linewidth=0.8)
    for side, many in heard.items():
        chosen = tuple(one for one in many if surface in (None, one.surface))
        if chosen:
            level_db = together_db(chosen, frequency_hz, speed_of_sound_m_s=speed_of_sound_m_s)
            shown_db = np.maximum(level_db, RANGE_DB[0] - 5)
            ax.plot(frequency_hz, shown_db, linewidth=1.4, **style.CURVES[side])
