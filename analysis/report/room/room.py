"""What the room file predicts, in words: modes, their density, and cancellations."""

from __future__ import annotations

import numpy as np

from analysis.report import format as fmt
from analysis.report.bass import mode_name
from analysis.report.room.space import space_size
from analysis.room.modes import modes_below
from analysis.room.prediction import Prediction
from analysis.room.room import Room
from analysis.room.space import Space


def room_lines(prediction: Prediction | None) -> list[str]:
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


def _size(room: Room | Space) -> str:
    """Return a room's measures."""
    if isinstance(room, Space):
        return space_size(room)
    return f"{room.length_m:.2f} × {room.width_m:.2f} × {room.height_m:.2f} m"


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
    if isinstance(prediction.room, Space):
        return _numbered_lines(prediction)
    modes = modes_below(
        prediction.room,
        prediction.schroeder_hz,
        speed_of_sound_m_s=prediction.air.speed_of_sound_m_s,
    )
    n_modes = modes.frequency_hz.size
    if n_modes < 2:
        return [f"{n_modes} modes below it"]
    spacing_hz = float(np.mean(np.diff(modes.frequency_hz)))
    lowest = ", ".join(
        f"{frequency_hz:.1f} Hz {mode_name((int(i[0]), int(i[1]), int(i[2])))}"
        for frequency_hz, i in zip(modes.frequency_hz[:6], modes.indices[:6], strict=True)
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
