r"""What a room is expected to do at the seat, before anything is measured.

Conventions: those of `analysis.room.room` and `analysis.room.modes`. Three *curves* are spoken of:
``left``, ``right``, and ``both``, the sum of the two playing the same signal. A shape is given as
a share of its largest value in the room, so that nodes mean the same in rooms of all kinds;
strengths carry the norm. The response is that to monopoles of constant volume acceleration (a
closed loudspeaker in its pass band), scaled so that the uniform pressure has a strength of 1:

.. math::

    p(f) = \sum_n \frac{\psi_n(s) \psi_n(r)}{f_n^2 - f^2 + \mathrm{j} f \Delta f_n}

with the uniform pressure (:math:`f_0 = 0`, :math:`\psi_0 = 1`) among the terms: it is as strong
as any mode below the first ones. All modes share one half-power width.

References
----------
H. Kuttruff, "Room Acoustics", 5th ed., sec. 3.3 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from analysis.basics.air import Air
from analysis.basics.arrays import Complex, Float, freeze
from analysis.room.mode_direction import direction_shares, loudest_walls
from analysis.room.modes import Indices, Modes, room_modes
from analysis.room.reflections import (
    HIGHEST_HZ,
    Cancellation,
    Reflection,
    cancellations,
    reflections_by_surface,
)
from analysis.room.reverberation import (
    eyring_absorption,
    half_power_width_hz,
    reverberation_time_s,
    schroeder_frequency_hz,
)
from analysis.room.room import Point, Positions, Room, require_inside

Curve = Literal["left", "right", "both"]

CURVES: Final[tuple[Curve, ...]] = ("left", "right", "both")

LOWEST_HZ: Final = 15.0
GRID_HZ: Final = 1.0
"""Spacing of the predicted response: finer than the width of a mode that rings for 2 s."""

DECAY_RANGE_S: Final = (0.05, 3.0)
"""Decay times outside are set to the nearer end: no room at home has them, and the sum
over modes has no meaning there."""

BOX_SUM_TO: Final = 1.4
"""Modes of a box up to so many times the end of the prediction are summed; the rest adds a
smooth background that moves no peak."""

SUM_TO: Final = 1.2
"""The same for other rooms: the mesh must resolve the modes, which costs the third power."""

SLOPED_HIGHEST_HZ: Final = 120.0
"""End of the prediction under a sloped ceiling, whose modes cost most."""

ERROR_PERCENT: Final = 0.3
"""Of the modes' frequencies: well below what a tape leaves open."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class PredictedModes:
    """Modes of a room by rising frequency, without the uniform pressure.

    Attributes
    ----------
    frequency_hz : ndarray, shape (n,)
    kinds : tuple of str
        Those of `analysis.room.modes`.
    indices : ndarray of int or None, shape (n, 3)
        Of a box.
    direction_shares : ndarray, shape (n, 3)
        Of length, width and height, as in `analysis.room.mode_direction`.
    loudest_walls : tuple of str
        The wall along which each is loudest.
    relative_error : float
        Stated error of the frequencies over them; 0 for a box.
    """

    frequency_hz: Float
    kinds: tuple[str, ...]
    indices: Indices | None
    direction_shares: Float
    loudest_walls: tuple[str, ...]
    relative_error: float

    def __post_init__(self) -> None:
        for name, ndim in (("frequency_hz", 1), ("direction_shares", 2)):
            object.__setattr__(self, name, freeze(getattr(self, name), name=name, ndim=ndim))


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Prediction:
    """Modes, their sum at the seat, and boundary cancellations.

    Attributes
    ----------
    room : Room
    positions : Positions
    air : Air
    decay_s : float
        Decay time taken for all modes, in seconds.
    decay_is_assumed : bool
        Whether it was derived from the absorption for want of a measured one.
    schroeder_hz : float
        Above it modes overlap, and no single one can be told.
    modes : PredictedModes
        Up to `BOX_SUM_TO` or `SUM_TO` times the end of the prediction.
    seat_shape : ndarray, shape (n_modes,)
        Shape of each mode at the seat, -1 to 1.
    drives : mapping of str to ndarray, shape (n_modes,)
        Of each curve, the mean shape at the loudspeakers that play.
    strengths : mapping of str to ndarray, shape (n_modes + 1,)
        Of each curve, the strength of the uniform pressure, 1, and of each mode.
    frequency_hz : ndarray, shape (m,)
    response : mapping of str to ndarray of complex, shape (m,)
        Sum over the modes for each curve.
    cancellations : mapping of str to tuple of Cancellation
        For each loudspeaker; ``both`` holds those of the two.
    reflections : mapping of str to mapping of str to Reflection
        Of left and right, by surface.
    """

    room: Room
    positions: Positions
    air: Air
    decay_s: float
    decay_is_assumed: bool
    schroeder_hz: float
    modes: PredictedModes
    seat_shape: Float
    drives: Mapping[Curve, Float]
    strengths: Mapping[Curve, Float]
    frequency_hz: Float
    response: Mapping[Curve, Complex]
    cancellations: Mapping[Curve, tuple[Cancellation, ...]]
    reflections: Mapping[Curve, Mapping[str, Reflection]]

    def __post_init__(self) -> None:
        object.__setattr__(self, "seat_shape", freeze(self.seat_shape, name="seat_shape"))
        object.__setattr__(self, "frequency_hz", freeze(self.frequency_hz, name="frequency_hz"))

    @property
    def mean_absorption(self) -> float:
        """Absorption that `decay_s` means by Eyring's law, 0 to 1."""
        return eyring_absorption(
            self.decay_s,
            volume_m3=self.room.volume_m3,
            surface_m2=self.room.surface_m2,
            speed_of_sound_m_s=self.air.speed_of_sound_m_s,
        )

    @property
    def width_hz(self) -> float:
        """Half-power width of a mode, in Hz."""
        return half_power_width_hz(self.decay_s)

    def reflections_by(self, surface: str, curve: Curve) -> tuple[Reflection, ...]:
        """Return the reflections from one surface for the loudspeakers that play."""
        playing: tuple[Curve, ...] = ("left", "right") if curve == "both" else (curve,)
        return tuple(self.reflections[side][surface] for side in playing)

    def coupling(self, curve: Curve) -> Float:
        """Return each mode's drive times its shape at the seat, -1 to 1, shape (n_modes,)."""
        return np.asarray(self.drives[curve] * self.seat_shape)


def sources_of(positions: Positions, curve: Curve) -> tuple[Point, ...]:
    """Return where the bass of a curve comes from."""
    sides = {
        "left": (positions.left,),
        "right": (positions.right,),
        "both": (positions.left, positions.right),
    }
    return tuple(side.woofer for side in sides[curve])


def tweeter_echoes_s(room: Room, positions: Positions, air: Air) -> list[float]:
    """Return how long after its direct sound each surface sends a tweeter's, in seconds."""
    return [
        one.extra_path_m / air.speed_of_sound_m_s
        for side in (positions.left, positions.right)
        for one in reflections_by_surface(room, side.tweeter, positions.seat).values()
        if one.can_cancel and one.reflection > 0
    ]


def predict(
    room: Room, positions: Positions, air: Air, *, decay_s: float | None = None
) -> Prediction:
    """Return what the room is expected to do at the seat.

    Parameters
    ----------
    room : Room
    positions : Positions
        Inside the room.
    air : Air
    decay_s : float, optional
        Measured decay time of the bass, in seconds; else Eyring's from the absorption.

    Returns
    -------
    Prediction
        Up to the end of the bass curves, under a sloped ceiling to `SLOPED_HIGHEST_HZ`.

    Raises
    ------
    ValueError
        If a position lies outside the room, the room is too large for its modes to be counted,
        or `decay_s` isn't above 0.
    """
    require_inside(room, positions)
    c = air.speed_of_sound_m_s
    taken_s = taken_decay_s(reverberation_time_s(room, speed_of_sound_m_s=c), decay_s)
    found, frequency_hz = _solve(room, c)
    modes = _without_uniform(found, c)
    seat, drives, strengths = _shapes(found, positions)
    each = resonances(modes.frequency_hz, frequency_hz, width_hz=half_power_width_hz(taken_s))
    sums = each @ np.stack([strengths[curve] for curve in CURVES], axis=1)
    heard: dict[Curve, dict[str, Reflection]] = {
        side: reflections_by_surface(room, sources_of(positions, side)[0], positions.seat)
        for side in CURVES[:2]
    }
    return Prediction(
        room=room,
        positions=positions,
        air=air,
        decay_s=taken_s,
        decay_is_assumed=decay_s is None,
        schroeder_hz=schroeder_frequency_hz(room, reverberation_time_s=taken_s),
        modes=modes,
        seat_shape=seat,
        drives=drives,
        strengths=strengths,
        frequency_hz=frequency_hz,
        response=dict(zip(CURVES, sums.T, strict=True)),
        cancellations=_cancellations(heard, air),
        reflections=heard,
    )


def taken_decay_s(eyring_s: float, measured_s: float | None) -> float:
    """Return the measured decay time, else Eyring's, kept within `DECAY_RANGE_S`.

    Raises
    ------
    ValueError
        If the measured one isn't above 0.
    """
    if measured_s is None:
        taken_s = eyring_s
    elif measured_s > 0:
        taken_s = measured_s
    else:
        msg = f"decay_s {measured_s} must lie above 0"
        raise ValueError(msg)
    return min(max(taken_s, DECAY_RANGE_S[0]), DECAY_RANGE_S[1])


def resonances(mode_hz: Float, frequency_hz: Float, *, width_hz: Float | float) -> Complex:
    """Return each mode's response per unit of strength.

    Parameters
    ----------
    mode_hz : ndarray, shape (n,)
        The modes' frequencies, the uniform pressure left out.
    frequency_hz : ndarray, shape (m,)
        Above 0.
    width_hz : float or ndarray, shape (m,)
        Half-power width taken at each frequency.

    Returns
    -------
    ndarray of complex, shape (m, n + 1)
        The first column is the uniform pressure, the others are the modes in order.
    """
    f = np.asarray(frequency_hz, dtype=np.float64)[:, np.newaxis]
    width = np.broadcast_to(np.asarray(width_hz, dtype=np.float64), f.shape[:1])[:, np.newaxis]
    mode_hz = np.concatenate(([0.0], mode_hz))
    off = mode_hz**2 - f**2
    loss = f * width
    # In real numbers: a complex division takes three times as long.
    scale = 1.0 / (off**2 + loss**2)
    result = np.empty(off.shape, dtype=np.complex128)
    result.real = off * scale
    result.imag = -loss * scale
    return result


def _solve(room: Room, speed_of_sound_m_s: float) -> tuple[Modes, Float]:
    """Return the room's modes, and the prediction's grid."""
    highest_hz = HIGHEST_HZ if room.is_level else SLOPED_HIGHEST_HZ
    sum_to = BOX_SUM_TO if room.is_box else SUM_TO
    found = room_modes(
        room,
        sum_to * highest_hz,
        speed_of_sound_m_s=speed_of_sound_m_s,
        error_percent=ERROR_PERCENT,
    )
    n_steps = math.floor((highest_hz - LOWEST_HZ) / GRID_HZ)
    return found, LOWEST_HZ + GRID_HZ * np.arange(n_steps + 1, dtype=np.float64)


def _without_uniform(found: Modes, speed_of_sound_m_s: float) -> PredictedModes:
    """Return what the prediction keeps of the modes."""
    return PredictedModes(
        frequency_hz=found.frequency_hz(speed_of_sound_m_s=speed_of_sound_m_s)[1:],
        kinds=found.kinds[1:],
        indices=None if found.indices is None else found.indices[1:],
        direction_shares=direction_shares(found),
        loudest_walls=loudest_walls(found),
        relative_error=found.error_percent / 100,
    )


def _cancellations(
    heard: Mapping[Curve, Mapping[str, Reflection]], air: Air
) -> dict[Curve, tuple[Cancellation, ...]]:
    """Return the cancellations of each loudspeaker, and of the two."""
    left, right = (cancellations(heard[side].values(), air=air) for side in CURVES[:2])
    return {"left": left, "right": right, "both": left + right}


def _shapes(
    found: Modes, positions: Positions
) -> tuple[Float, dict[Curve, Float], dict[Curve, Float]]:
    """Return shapes at the seat and drives as shares of the largest, and strengths."""
    seat = positions.seat.array
    sources = {
        curve: np.stack([point.array for point in sources_of(positions, curve)]) for curve in CURVES
    }
    largest = found.largest_shapes()
    drives = {curve: (found.drive(at) / largest)[1:] for curve, at in sources.items()}
    strengths = {curve: found.strength(at, seat) for curve, at in sources.items()}
    return (found.shapes_at(seat)[0] / largest)[1:], drives, strengths
