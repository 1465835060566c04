"""What a room is expected to do, in words: modes, their density, and cancellations."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from analysis.basics.air import Air
from analysis.basics.arrays import Float
from analysis.report import format as fmt
from analysis.report.bass import mode_name
from analysis.room.modes import Modes, room_modes
from analysis.room.prediction import Prediction
from analysis.room.reflections import Reflection
from analysis.room.reverberation import reverberation_time_s, schroeder_frequency_hz
from analysis.room.room import Room

MOST_LISTED = 40
"""So many modes are printed; the JSON has all."""


def prediction_lines(prediction: Prediction | None) -> list[str]:
    """Return what the room is expected to do at the seat.

    Parameters
    ----------
    prediction : Prediction or None
        None without a room file.

    Returns
    -------
    list of str
        Lines of at most 76 columns; empty without a room file.
    """
    if prediction is None:
        return []
    room, positions = prediction.room, prediction.positions
    decay = "from the absorption" if prediction.decay_is_assumed else "measured"
    size = f"{_size(room)}, {room.volume_m3:.1f} m³, decay {prediction.decay_s:.2f} s ({decay})"
    lines = [
        *fmt.wrapped(size, hanging=2),
        f"above the Schroeder frequency, {prediction.schroeder_hz:.0f} Hz, modes overlap and "
        "none stands alone",
        *_mode_lines(prediction),
    ]
    if positions.left.woofer_is_assumed or positions.right.woofer_is_assumed:
        lines += fmt.wrapped("no woofer_z_m given: the bass is taken to come from the tweeter")
    return lines + _cancellation_lines(prediction)


def _numbered_lines(prediction: Prediction) -> list[str]:
    """Return the lowest modes of a room that is no box."""
    modes = prediction.modes
    lowest = ", ".join(
        f"{number} at {at_hz:.1f} Hz"
        for number, at_hz in enumerate(modes.frequency_hz[:6].tolist(), start=1)
    )
    return fmt.wrapped(
        f"the lowest modes: no. {lowest}; `apexline room` lists them with their kinds", hanging=2
    )


def _mode_lines(prediction: Prediction) -> list[str]:
    """Return how many modes there are, and the lowest ones."""
    if not prediction.room.is_box:
        return _numbered_lines(prediction)
    c = prediction.air.speed_of_sound_m_s
    modes = room_modes(prediction.room, prediction.schroeder_hz, speed_of_sound_m_s=c)
    frequency_hz = modes.frequency_hz(speed_of_sound_m_s=c)[1:]
    n_modes = frequency_hz.size
    if n_modes < 2:
        return [f"{n_modes} modes below it"]
    spacing_hz = float(np.mean(np.diff(frequency_hz)))
    lowest = ", ".join(
        f"{at_hz:.1f} Hz {mode_name((int(i[0]), int(i[1]), int(i[2])))}"
        for at_hz, i in zip(frequency_hz[:6], modes.indices[1:7], strict=True)
    )
    return [
        f"{n_modes} modes below it, {spacing_hz:.1f} Hz apart on average",
        *fmt.wrapped(f"the lowest: {lowest} (length, width, height)", hanging=2),
    ]


def _cancellation_lines(prediction: Prediction) -> list[str]:
    """Return each surface's first cancellation, left and right."""
    rows: list[tuple[str, ...]] = [("first cancellation", "left", "right")]
    firsts = [
        {one.surface: one for one in prediction.cancellations[side] if one.order == 1}
        for side in ("left", "right")
    ]
    for surface in sorted(firsts[0].keys() | firsts[1].keys()):
        cells = [
            fmt.hz(first[surface].frequency_hz, first[surface].frequency_std_hz)
            if surface in first
            else "above the bass"
            for first in firsts
        ]
        rows.append((surface, *cells))
    return fmt.table(rows, right=(1, 2)) if len(rows) > 1 else []


def room_lines(
    room: Room,
    modes: Modes,
    air: Air,
    *,
    highest_hz: float,
    couplings: Mapping[str, Float],
    reflections: Mapping[str, tuple[Reflection, ...]],
) -> list[str]:
    """Return what is expected of a room.

    Parameters
    ----------
    room : Room
    modes : Modes
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
    decay_s = reverberation_time_s(room, speed_of_sound_m_s=c)
    schroeder_hz = schroeder_frequency_hz(room, reverberation_time_s=decay_s)
    guess = ", from absorption that is partly assumed" if room.absorption_is_assumed else ""
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
        f"{_size(room)}, {room.volume_m3:.1f} m³, decay {decay_s:.2f} s{guess}",
        *fmt.wrapped(text),
        f"{frequency_hz.size} modes up to {highest_hz:.0f} Hz" + below,
        f"({how})",
        "",
        *_mode_table(modes, frequency_hz, couplings),
        "",
        *_all_first_cancellations(reflections, air),
    ]


def _size(room: Room) -> str:
    """Return a room's measures."""
    low_x, low_y, high_x, high_y = room.plan.bounds_m
    height = f"{room.height_m:.2f}"
    if not room.is_level:
        height += f" to {room.far_height_m:.2f}"
    if room.plan.is_rectangle:
        return f"{high_y:.2f} × {high_x:.2f} × {height} m"
    return (
        f"{room.plan.n_walls} walls within {high_y - low_y:.2f} × {high_x - low_x:.2f} m, "
        f"{room.plan.area_m2:.1f} m², {height} m high"
    )


def _mode_table(modes: Modes, frequency_hz: Float, couplings: Mapping[str, Float]) -> list[str]:
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


def _all_first_cancellations(
    reflections: Mapping[str, tuple[Reflection, ...]], air: Air
) -> list[str]:
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
