"""What a room of given size is expected to do at the seat, before anything is measured.

Conventions: those of `analysis.room.room` and `analysis.room.modes`. Three *curves* are spoken of:
``left``, ``right``, and ``both``, the sum of the two playing the same signal.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from analysis.basics.air import Air
from analysis.basics.arrays import Complex, Float, freeze
from analysis.room.boundary import (
    HIGHEST_HZ,
    Cancellation,
    MirrorPath,
    cancellations,
    mirror_paths,
)
from analysis.room.modal_response import SUM_TO, resonances, strengths
from analysis.room.modes import Modes, half_power_width_hz, modes_below
from analysis.room.room import (
    Point,
    Positions,
    Room,
    mean_absorption,
    require_inside,
    reverberation_time_s,
    schroeder_frequency_hz,
)
from analysis.room.space import Space

Curve = Literal["left", "right", "both"]

CURVES: Final[tuple[Curve, ...]] = ("left", "right", "both")

LOWEST_HZ: Final = 15.0
GRID_HZ: Final = 1.0
"""Spacing of the predicted response: finer than the width of a mode that rings for 2 s."""

DECAY_RANGE_S: Final = (0.05, 3.0)
"""Decay times outside are set to the nearer end: no room at home has them, and the sum
over modes has no meaning there."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class NumberedModes:
    """Modes of a room that is no box: by rising frequency, without indices.

    Attributes
    ----------
    frequency_hz : ndarray, shape (n,)
    kinds : tuple of str
        Those of `analysis.room.space_modes`.
    direction_shares : ndarray, shape (n, 3)
        Shares of length, width and height, as in `analysis.room.mode_direction`.
    loudest_walls : tuple of str
        The wall along which each is loudest.
    relative_error : float
        Stated error of the frequencies over them.
    indices : None
    """

    frequency_hz: Float
    kinds: tuple[str, ...]
    direction_shares: Float
    loudest_walls: tuple[str, ...]
    relative_error: float
    indices: None = None

    def __post_init__(self) -> None:
        for name, ndim in (("frequency_hz", 1), ("direction_shares", 2)):
            object.__setattr__(self, name, freeze(getattr(self, name), name=name, ndim=ndim))


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Prediction:
    """Modes, their sum at the seat, and boundary cancellations.

    Attributes
    ----------
    room : Room or Space
        A Space where it is no box.
    positions : Positions
    air : Air
    decay_s : float
        Decay time taken for all modes, in seconds.
    decay_is_assumed : bool
        Whether it was derived from the absorption for want of a measured one.
    schroeder_hz : float
        Above it modes overlap, and no single one can be told.
    modes : Modes or NumberedModes
        Up to 1.4 times the end of the bass curves.
    seat_shape : ndarray, shape (n_modes,)
        Shape of each mode at the seat, -1 to 1.
    drives : mapping of str to ndarray, shape (n_modes,)
        Of each curve, the mean shape at the loudspeakers that play.
    strengths : mapping of str to ndarray, shape (n_modes + 1,)
        Of each curve, the strength of the uniform pressure, 1, and of each mode.
    frequency_hz : ndarray, shape (m,)
    response : mapping of str to ndarray of complex, shape (m,)
        Sum over the modes for each curve, in the scale of `analysis.room.modal_response`.
    cancellations : mapping of str to tuple of Cancellation
        For each loudspeaker; ``both`` holds those of the two.
    paths : mapping of str to mapping of str to MirrorPath
        Of left and right, by surface.
    mean_absorption : float
        That `decay_s` means by Eyring's law.
    surface_m2 : float
    """

    room: Room | Space
    positions: Positions
    air: Air
    decay_s: float
    decay_is_assumed: bool
    schroeder_hz: float
    modes: Modes | NumberedModes
    seat_shape: Float
    drives: Mapping[Curve, Float]
    strengths: Mapping[Curve, Float]
    frequency_hz: Float
    response: Mapping[Curve, Complex]
    cancellations: Mapping[Curve, tuple[Cancellation, ...]]
    paths: Mapping[Curve, Mapping[str, MirrorPath]]
    mean_absorption: float
    surface_m2: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "seat_shape", freeze(self.seat_shape, name="seat_shape"))
        object.__setattr__(self, "frequency_hz", freeze(self.frequency_hz, name="frequency_hz"))

    @property
    def width_hz(self) -> float:
        """Half-power width of a mode, in Hz."""
        return half_power_width_hz(self.decay_s)

    def paths_by(self, surface: str, curve: Curve) -> tuple[MirrorPath, ...]:
        """Return the paths by one surface from the loudspeakers that play."""
        playing: tuple[Curve, ...] = ("left", "right") if curve == "both" else (curve,)
        return tuple(self.paths[side][surface] for side in playing)

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


def predict(
    room: Room,
    positions: Positions,
    air: Air,
    *,
    decay_s: float | None = None,
    highest_hz: float = HIGHEST_HZ,
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
    highest_hz : float
        End of the bass curves.

    Returns
    -------
    Prediction

    Raises
    ------
    ValueError
        If a position lies outside the room, or `decay_s` isn't above 0.
    """
    require_inside(room, positions)
    c = air.speed_of_sound_m_s
    taken_s = taken_decay_s(reverberation_time_s(room, speed_of_sound_m_s=c), decay_s)
    modes = modes_below(room, SUM_TO * highest_hz, speed_of_sound_m_s=c)
    n_steps = math.floor((highest_hz - LOWEST_HZ) / GRID_HZ)
    frequency_hz: Float = LOWEST_HZ + GRID_HZ * np.arange(n_steps + 1, dtype=np.float64)
    each = resonances(modes, frequency_hz, width_hz=half_power_width_hz(taken_s))
    sources = {curve: sources_of(positions, curve) for curve in CURVES}
    strong = {curve: strengths(modes, sources[curve], positions.seat) for curve in CURVES}
    sums = each @ np.stack([strong[curve] for curve in CURVES], axis=1)
    sides = {
        side: cancellations(room, sources[side][0], positions.seat, air=air, highest_hz=highest_hz)
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
        seat_shape=modes.shape_at(positions.seat),
        drives={curve: modes.drive(sources[curve]) for curve in CURVES},
        strengths=strong,
        frequency_hz=frequency_hz,
        response=dict(zip(CURVES, sums.T, strict=True)),
        cancellations={**sides, "both": sides["left"] + sides["right"]},
        paths={side: mirror_paths(room, sources[side][0], positions.seat) for side in CURVES[:2]},
        mean_absorption=mean_absorption(
            taken_s,
            volume_m3=room.volume_m3,
            surface_m2=room.surface_m2,
            speed_of_sound_m_s=c,
        ),
        surface_m2=room.surface_m2,
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
