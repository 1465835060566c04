"""What a room of any floor plan predicts, in words: modes, counts, cancellations."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from analysis.basics.air import Air
from analysis.basics.arrays import Float
from analysis.report import format as fmt
from analysis.room.reflections import Reflection
from analysis.room.space import Space
from analysis.room.space_modes import SpaceModes

MOST_LISTED = 40
"""So many modes are printed; the JSON has all."""


def space_lines(
    space: Space,
    modes: SpaceModes,
    air: Air,
    *,
    highest_hz: float,
    couplings: Mapping[str, Float],
    reflections: Mapping[str, tuple[Reflection, ...]],
) -> list[str]:
    """Return what is expected of a room.

    Parameters
    ----------
    space : Space
    modes : SpaceModes
    air : Air
    highest_hz : float
        Up to where the modes were sought.
    couplings : mapping of str to ndarray
        For left and right, of each mode.
    reflections : mapping of str to tuple of Reflection
        For left and right.

    Returns
    -------
    list of str
    """
    c = air.speed_of_sound_m_s
    decay_s = space.reverberation_time_s(speed_of_sound_m_s=c)
    schroeder_hz = space.schroeder_hz(reverberation_time_s=decay_s)
    guess = ", from absorption that is partly assumed" if space.absorption_is_assumed else ""
    frequency_hz = modes.frequency_hz(speed_of_sound_m_s=c)[1:]
    n_below = int(np.count_nonzero(frequency_hz <= schroeder_hz))
    below = (
        f", of these {n_below} up to the Schroeder frequency" if schroeder_hz <= highest_hz else ""
    )
    how = (
        "closed form"
        if modes.error_percent == 0
        else f"finite elements, frequencies within {modes.error_percent:.2g} % of a finer mesh"
    )
    text = (
        f"Above the Schroeder frequency, {schroeder_hz:.0f} Hz, modes overlap: a single mode, and "
        "a predicted curve, mean little there."
    )
    return [
        f"{space_size(space)}, {space.volume_m3:.1f} m³, decay {decay_s:.2f} s{guess}",
        *fmt.wrapped(text),
        f"{frequency_hz.size} modes up to {highest_hz:.0f} Hz" + below,
        f"({how})",
        "",
        *_mode_table(modes, frequency_hz, couplings),
        "",
        *_cancellation_table(reflections, air),
    ]


def space_size(space: Space) -> str:
    """Return a room's measures."""
    low_x, low_y, high_x, high_y = space.plan.bounds_m
    height = f"{space.height_m:.2f}"
    if not space.is_level:
        height += f" to {space.far_height_m:.2f}"
    if space.plan.is_rectangle:
        return f"{high_y:.2f} × {high_x:.2f} × {height} m"
    return (
        f"{space.plan.n_walls} walls within {high_y - low_y:.2f} × {high_x - low_x:.2f} m, "
        f"{space.plan.area_m2:.1f} m², {height} m high"
    )


def _mode_table(
    modes: SpaceModes, frequency_hz: Float, couplings: Mapping[str, Float]
) -> list[str]:
    """Return the lowest modes and how strongly each loudspeaker reaches the seat by them."""
    rows: list[tuple[str, ...]] = [("mode", "Hz", "kind", "left", "right")]
    for k, at_hz in enumerate(frequency_hz[:MOST_LISTED], start=1):
        name = str(k) if modes.indices is None else " ".join(str(int(i)) for i in modes.indices[k])
        cells = [fmt.number(float(couplings[side][k]), places=2) for side in ("left", "right")]
        rows.append((name, f"{at_hz:.1f}", modes.kinds[k], *cells))
    lines = fmt.table(rows, right=(1, 3, 4))
    if frequency_hz.size > MOST_LISTED:
        lines.append(f"and {frequency_hz.size - MOST_LISTED} more (--json lists all)")
    return lines


def _cancellation_table(reflections: Mapping[str, tuple[Reflection, ...]], air: Air) -> list[str]:
    """Return each surface's first cancellation, left and right."""
    sides = [{one.surface: one for one in reflections[side]} for side in ("left", "right")]
    rows: list[tuple[str, ...]] = [("first cancellation", "left", "right")]
    for surface in dict.fromkeys([*sides[0], *sides[1]]):
        rows.append((surface, *(_first(side.get(surface), air) for side in sides)))
    return fmt.table(rows, right=(1, 2))


def _first(one: Reflection | None, air: Air) -> str:
    """Return a first cancellation."""
    if one is None:
        return "none"
    at_hz = one.cancellations_hz(speed_of_sound_m_s=air.speed_of_sound_m_s)[0]
    return f"{fmt.hz(at_hz, at_hz * one.relative_std(air))}, {fmt.db(one.depth_db)}"
