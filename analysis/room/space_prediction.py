"""What a room that is no box is expected to do at the seat: modes by number, walls by name.

Conventions: those of `analysis.room.prediction`, `analysis.room.space` and
`analysis.room.space_modes`. A shape is given as a share of its largest value in the room, so
that nodes mean the same as in a box; strengths carry the norm.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from analysis.basics.air import Air
from analysis.basics.arrays import Float
from analysis.room.boundary import HIGHEST_HZ, Cancellation, MirrorPath
from analysis.room.modal_response import resonances
from analysis.room.mode_direction import direction_shares, loudest_walls
from analysis.room.modes import half_power_width_hz
from analysis.room.prediction import (
    CURVES,
    GRID_HZ,
    LOWEST_HZ,
    Curve,
    NumberedModes,
    Prediction,
    sources_of,
    taken_decay_s,
)
from analysis.room.reflections import Reflection, reflections
from analysis.room.room import Point, Positions, mean_absorption
from analysis.room.space import Space, require_in_space
from analysis.room.space_modes import SpaceModes, space_modes

SUM_TO: Final = 1.2
"""Modes are summed up to so many times the end of the prediction; a box has 1.4. The mesh must
resolve them, which costs the third power."""

SLOPED_HIGHEST_HZ: Final = 120.0
"""End of the prediction under a sloped ceiling, whose modes cost most."""

ERROR_PERCENT: Final = 0.3
"""Of the modes' frequencies: well below what a tape leaves open."""

_OFF_WALL_M: Final = 0.01

_PROBE_M: Final = 0.25
"""Spacing of the points at which a shape's largest value is looked for."""


def predict_space(
    space: Space, positions: Positions, air: Air, *, decay_s: float | None = None
) -> Prediction:
    """Return what a room of any floor plan is expected to do at the seat.

    Parameters
    ----------
    space : Space
    positions : Positions
        Inside the room.
    air : Air
    decay_s : float, optional
        Measured decay time of the bass, in seconds; else Eyring's from the absorption.

    Returns
    -------
    Prediction
        Up to 300 Hz, under a sloped ceiling to `SLOPED_HIGHEST_HZ`.

    Raises
    ------
    ValueError
        If a position lies outside the room, the room is too large for its modes to be counted,
        or `decay_s` isn't above 0.
    """
    require_in_space(space, positions)
    c = air.speed_of_sound_m_s
    taken_s = taken_decay_s(space.reverberation_time_s(speed_of_sound_m_s=c), decay_s)
    found, modes, frequency_hz = _modes(space, c)
    each = resonances(modes, frequency_hz, width_hz=half_power_width_hz(taken_s))
    seat, drives, strong = _shapes(found, positions)
    sums = each @ np.stack([strong[curve] for curve in CURVES], axis=1)
    heard = {
        side: reflections(space, sources_of(positions, side)[0], positions.seat)
        for side in CURVES[:2]
    }
    sides = {side: _cancellations(many, air) for side, many in heard.items()}
    surface_m2 = float(space.areas_m2().sum())
    return Prediction(
        room=space,
        positions=positions,
        air=air,
        decay_s=taken_s,
        decay_is_assumed=decay_s is None,
        schroeder_hz=space.schroeder_hz(reverberation_time_s=taken_s),
        modes=modes,
        seat_shape=seat,
        drives=drives,
        strengths=strong,
        frequency_hz=frequency_hz,
        response=dict(zip(CURVES, sums.T, strict=True)),
        cancellations={**sides, "both": sides["left"] + sides["right"]},
        paths={side: _paths(space, many, positions, side) for side, many in heard.items()},
        mean_absorption=mean_absorption(
            taken_s,
            volume_m3=space.volume_m3,
            surface_m2=surface_m2,
            speed_of_sound_m_s=c,
        ),
        surface_m2=surface_m2,
    )


def _modes(space: Space, speed_of_sound_m_s: float) -> tuple[SpaceModes, NumberedModes, Float]:
    """Return the modes, the same without the uniform pressure, and the prediction's grid."""
    c = speed_of_sound_m_s
    highest_hz = HIGHEST_HZ if space.is_level else SLOPED_HIGHEST_HZ
    found = space_modes(
        space, SUM_TO * highest_hz, speed_of_sound_m_s=c, error_percent=ERROR_PERCENT
    )
    modes = NumberedModes(
        frequency_hz=found.frequency_hz(speed_of_sound_m_s=c)[1:],
        kinds=found.kinds[1:],
        direction_shares=direction_shares(found),
        loudest_walls=loudest_walls(found),
        relative_error=found.error_percent / 100,
    )
    n_steps = math.floor((highest_hz - LOWEST_HZ) / GRID_HZ)
    return found, modes, LOWEST_HZ + GRID_HZ * np.arange(n_steps + 1, dtype=np.float64)


def _shapes(
    found: SpaceModes, positions: Positions
) -> tuple[Float, dict[Curve, Float], dict[Curve, Float]]:
    """Return shapes at the seat and drives as shares of the largest, and strengths."""
    seat = found.shapes_at(positions.seat.array[np.newaxis])[0]
    largest = np.abs(found.shapes_at(_probes(found.space))).max(axis=0)
    at = {
        curve: found.shapes_at(
            np.stack([point.array for point in sources_of(positions, curve)])
        ).mean(axis=0)
        for curve in CURVES
    }
    share = seat / largest
    drives = {curve: (shape / largest)[1:] for curve, shape in at.items()}
    strong = {curve: shape * seat / (at[curve][0] * seat[0]) for curve, shape in at.items()}
    return share[1:], drives, strong


def _probes(space: Space) -> Float:
    """Return points all over the room and near its corners, at floor and ceiling.

    All stand a little off the walls: a mesh's edge is no place to ask for a value.
    """
    from shapely import contains_xy

    inner = space.plan.polygon.buffer(-_OFF_WALL_M, join_style="mitre")
    low_x, low_y, high_x, high_y = inner.bounds
    x, y = (
        np.linspace(low, high, math.ceil((high - low) / _PROBE_M) + 1)
        for low, high in ((low_x, high_x), (low_y, high_y))
    )
    grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    plan = np.concatenate([np.array(inner.exterior.coords)[:-1], grid[contains_xy(inner, grid)]])
    heights = space.height_at(plan)
    return np.concatenate([np.column_stack([plan, share * heights]) for share in (0.0, 0.5, 1.0)])


def _cancellations(many: tuple[Reflection, ...], air: Air) -> tuple[Cancellation, ...]:
    """Return the cancellations of all surfaces, by rising frequency."""
    found = [
        Cancellation(
            surface=one.surface,
            order=order,
            frequency_hz=at_hz,
            frequency_std_hz=at_hz * one.relative_std(air),
            depth_db=one.depth_db,
            direct_m=one.direct_m,
            extra_path_m=one.extra_path_m,
            reflection=one.reflection,
            quarter_wave_hz=(2 * order - 1) * air.speed_of_sound_m_s / (4 * one.gap_m),
        )
        for one in many
        for order, at_hz in enumerate(
            one.cancellations_hz(speed_of_sound_m_s=air.speed_of_sound_m_s), start=1
        )
    ]
    return tuple(sorted(found, key=lambda one: one.frequency_hz))


def _paths(
    space: Space, many: tuple[Reflection, ...], positions: Positions, side: Curve
) -> dict[str, MirrorPath]:
    """Return the path by each surface; one that sends nothing reflects nothing."""
    source: Point = sources_of(positions, side)[0]
    direct_m = source.distance_m(positions.seat)
    none = MirrorPath(direct_m=direct_m, image_m=direct_m, reflection=0.0)
    heard = {
        one.surface: MirrorPath(
            direct_m=direct_m, image_m=direct_m + one.extra_path_m, reflection=one.reflection
        )
        for one in many
    }
    return {surface: heard.get(surface, none) for surface in space.surfaces}
