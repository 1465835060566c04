"""Rooms as they may be: drawn within what the room file, or a fit, leaves open.

Conventions: those of `analysis.placement.fit.parameters`. Size and how losses change with
frequency are drawn as offsets. What the surfaces keep is drawn for each by itself: a bookshelf
stands at one wall only, and which wall keeps how much tells more of where bass is even than how
much all do. A fit that is kept has seen the room; its own uncertainty is drawn instead.

Where no fit knows the loudspeakers they are taken as flat down to the lowest band, unless their
lower end is told: a guess would be weighed against what the room does, and be wrong both ways.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from analysis.basics.arrays import Float
from analysis.placement.fit.parameters import NAMES, ROLL_OFF_HZ, draw_room_offsets, offsets_with
from analysis.placement.fit.room_fit import RoomFit
from analysis.placement.response.room_response import RoomModel

N_DRAWS: Final = 48
"""Rooms drawn: with more the advice in simulated rooms stays as it is
(`benchmarks/placement.py`)."""

UNKNOWN_STD: Final = 0.8
"""One sigma of the logarithm of a surface's loss where the file doesn't say it: with the value
assumed then, two thirds keep from 0.1 to 0.4 of the energy. Common practice, no source."""

STATED_STD: Final = 0.5
"""The same where the file says it: a table's figure for 125 Hz is good to a factor of 1.6 in the
rest of the bass, as in `analysis.placement.fit.parameters`. Common practice, no source."""

FLAT_TO_HZ: Final = 8.0
"""Lower end of a loudspeaker that is taken as flat: 0.05 dB down at 25 Hz."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class DrawnRoom:
    """A room as it may be.

    Attributes
    ----------
    model : RoomModel
        With the absorption of this room's surfaces.
    offsets : ndarray, shape (11,)
    """

    model: RoomModel
    offsets: Float


def likeliest_offsets(fit: RoomFit | None = None, *, lower_end_hz: float = FLAT_TO_HZ) -> Float:
    """Return the likeliest room and loudspeakers: those of a fit that is kept, or the file's.

    Parameters
    ----------
    lower_end_hz : float
        Where the loudspeakers are 3 dB down, if no fit knows.

    Returns
    -------
    ndarray, shape (11,)
    """
    if fit is not None and fit.kept:
        return fit.offsets
    return offsets_with(roll_off=math.log(lower_end_hz / ROLL_OFF_HZ))


def draw_rooms(
    model: RoomModel,
    rng: np.random.Generator,
    *,
    fit: RoomFit | None = None,
    lower_end_hz: float = FLAT_TO_HZ,
    n_draws: int = N_DRAWS,
) -> tuple[DrawnRoom, ...]:
    """Return rooms drawn within what is uncertain.

    Parameters
    ----------
    fit : RoomFit, optional
        What readings say of the room.
    lower_end_hz : float
        Where the loudspeakers are 3 dB down, if no fit knows.
    n_draws : int
        At least 1.

    Raises
    ------
    ValueError
        If `n_draws` is below 1.
    """
    if n_draws < 1:
        msg = f"n_draws {n_draws} must be at least 1"
        raise ValueError(msg)
    if fit is not None and fit.kept:
        return tuple(DrawnRoom(model=model, offsets=one) for one in fit.draws(rng, n_draws))
    drawn = draw_room_offsets(rng, n_draws)
    common = [k for k, name in enumerate(NAMES) if name.endswith("_loss") or name == "roll_off"]
    drawn[:, common] = likeliest_offsets(lower_end_hz=lower_end_hz)[common]
    return tuple(DrawnRoom(model=_draw_surface_losses(model, rng), offsets=one) for one in drawn)


def _draw_surface_losses(model: RoomModel, rng: np.random.Generator) -> RoomModel:
    """Return the room with one draw of how its surfaces differ in what they keep."""
    room = model.room
    stated = set(room.absorption or {})
    std = np.array([STATED_STD if name in stated else UNKNOWN_STD for name in room.surfaces])
    lossy = room.admittances() * np.exp(std * rng.standard_normal(std.size))
    absorption = {
        name: -math.expm1(
            -8 * float(value)
        )  # what `analysis.room.materials.admittance` turns around
        for name, value in zip(room.surfaces, lossy, strict=True)
    }
    return replace(model, room=replace(room, absorption=absorption))
