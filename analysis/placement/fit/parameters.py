r"""What is uncertain about a room and its loudspeakers, as numbers about a first guess.

Conventions: a vector of offsets in the order of `NAMES`; all are 0 for the room file as it
stands. Scales and losses are natural logarithms of factors. `PRIOR_STD` is one sigma of
each before anything is measured. Length runs along y, width along x. The losses of
a wall at an angle are scaled between those of a wall across the length (front, rear) and
across the width (sides), by the squares of its normal's components.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from analysis.basics.arrays import Complex, Float
from analysis.placement.band_levels import FREQUENCY_HZ, band_levels_db
from analysis.placement.response.room_response import Losses, RoomModel, losses_of, pressure
from analysis.room.floor_plan import FloorPlan

NAMES: Final = (
    "length_scale",
    "width_scale",
    "height_scale",
    "front_and_rear_loss",
    "side_loss",
    "floor_loss",
    "ceiling_loss",
    "loss_slope",
    "gain_db",
    "tilt_db_per_octave",
    "roll_off",
)

N_PARAMETERS: Final = len(NAMES)

PRIOR_STD: Final = np.array(
    [0.007, 0.007, 0.007, 0.5, 0.5, 0.5, 0.5, 0.5, 20.0, 0.7, 0.4], dtype=np.float64
)
"""Scales: walls that give and a tape (common practice, no source). Losses: a table's
absorption in the bass is good to a factor of 1.6. Gain is unknown."""

BOUND: Final = 3.0
"""No parameter leaves its prior by more than so many sigma."""

ROLL_OFF_HZ: Final = 30.0
"""First guess of a loudspeaker's lower end, where it is 3 dB down (second order, maximally
flat)."""

_TILT_AT_HZ: Final = 70.0
N_ROOM_PARAMETERS: Final = NAMES.index("gain_db")
"""The first so many are the room's, the rest the loudspeakers' and the recording's."""


def offsets_with(**values: float) -> Float:
    """Return offsets of which some are given by name, the others 0, shape (11,)."""
    unknown = set(values) - set(NAMES)
    if unknown:
        msg = f"offsets {sorted(unknown)} must be among {NAMES}"
        raise ValueError(msg)
    return np.array([values.get(name, 0.0) for name in NAMES])


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class PairLevels:
    """Band levels at many places.

    Attributes
    ----------
    left_db, right_db, both_db : ndarray, shape (19, m)
    """

    left_db: Float
    right_db: Float
    both_db: Float


def losses_with(model: RoomModel, offsets: Float) -> Losses:
    """Return a room's losses with offsets applied."""
    first, of = losses_of(model.room), dict(zip(NAMES, offsets, strict=True))
    across = share_across_length(model.room.plan)
    walls = across * of["front_and_rear_loss"] + (1 - across) * of["side_loss"]
    factor = np.exp([*walls, of["floor_loss"], of["ceiling_loss"]])
    admittance = tuple(float(value) for value in factor * first.admittance)
    return replace(first, admittance=admittance, slope=float(of["loss_slope"]))


def share_across_length(plan: FloorPlan) -> Float:
    """Return how far each wall stands across the length: 1 front and rear, 0 sides."""
    along = np.roll(plan.array, -1, axis=0) - plan.array
    return np.asarray(along[:, 0] ** 2 / np.sum(along**2, axis=1))


def scale_with(offsets: Float) -> tuple[float, float, float]:
    """Return by how much width, length and height (x, y, z) are larger than in the file.

    Examples
    --------
    >>> x, y, z = scale_with(offsets_with(length_scale=math.log(1.01)))
    >>> x, round(y, 6), z
    (1.0, 1.01, 1.0)
    """
    of = dict(zip(NAMES, offsets, strict=True))
    names = ("width_scale", "length_scale", "height_scale")
    x, y, z = (math.exp(of[name]) for name in names)
    return x, y, z


def loudspeaker_db(offsets: Float) -> Float:
    """Return what the loudspeaker adds at `FREQUENCY_HZ`, in dB, shape (f,).

    Examples
    --------
    3 dB down at its lower end:

    >>> level_db = loudspeaker_db(offsets_with())
    >>> round(float(np.interp(ROLL_OFF_HZ, FREQUENCY_HZ, level_db)), 1)
    -3.0
    """
    of = dict(zip(NAMES, offsets, strict=True))
    corner_hz = ROLL_OFF_HZ * math.exp(of["roll_off"])
    end = -10 * np.log10(1 + (corner_hz / FREQUENCY_HZ) ** 4)
    tilt = of["tilt_db_per_octave"] * np.log2(FREQUENCY_HZ / _TILT_AT_HZ)
    return np.asarray(of["gain_db"] + tilt + end)


def pair_levels(
    model: RoomModel, left_m: Float, right_m: Float, seat_m: Float, offsets: Float
) -> PairLevels:
    """Return the levels of a pair at a seat, for many places.

    Parameters
    ----------
    left_m, right_m, seat_m : ndarray, shape (m, 3)
    offsets : ndarray, shape (11,)

    Returns
    -------
    PairLevels
        In dB against a free field of unit strength at 1 m.
    """
    left, right = pair_pressure(model, left_m, right_m, seat_m, offsets)
    speaker = 10 ** (loudspeaker_db(offsets) / 10)[:, np.newaxis]
    curves = [band_levels_db(speaker * np.abs(one) ** 2) for one in (left, right, left + right)]
    return PairLevels(left_db=curves[0], right_db=curves[1], both_db=curves[2])


def pair_pressure(
    model: RoomModel, left_m: Float, right_m: Float, seat_m: Float, offsets: Float
) -> Complex:
    """Return the pressure of left and right at `FREQUENCY_HZ`, shape (2, f, m).

    Parameters
    ----------
    left_m, right_m, seat_m : ndarray, shape (m, 3)
    offsets : ndarray, shape (11,)
        Those of the loudspeakers have no part in it.

    Returns
    -------
    ndarray of complex
        Against a free field of unit strength at 1 m.
    """
    total = pressure(
        model,
        np.concatenate([left_m, right_m]),
        np.concatenate([seat_m, seat_m]),
        FREQUENCY_HZ,
        losses=losses_with(model, offsets),
        scale=scale_with(offsets),
    )
    return np.asarray(4 * np.pi * np.stack(np.split(total, 2, axis=1)))


def draw_room_offsets(rng: np.random.Generator, n_draws: int) -> Float:
    """Return draws of the room's own parameters, the loudspeaker's left at 0."""
    draws = np.clip(rng.standard_normal((n_draws, len(NAMES))), -BOUND, BOUND) * PRIOR_STD
    draws[:, N_ROOM_PARAMETERS:] = 0.0
    return np.asarray(draws)
