"""From a room file, readings and a measurement plan to the choices that ``apexline place`` prints.

Conventions: those of `analysis.placement.choice`. The same files give the same advice: the
rooms are drawn from a fixed seed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from analysis.basics.arrays import Float
from analysis.placement.choice import MODEL_ERROR_DB, Placement, choose_places
from analysis.placement.fit.room_fit import MeasuredPlace, RoomFit, fit_room
from analysis.placement.measurement_plan import (
    FEWEST_PLACES,
    MOST_PLACES,
    PlannedPlace,
    plan_measurements,
)
from analysis.placement.monte_carlo import FLAT_TO_HZ, DrawnRoom, draw_rooms, likeliest_offsets
from analysis.placement.places import Places, allowed_places, current_distances_m, default_ranges_m
from analysis.placement.response.room_response import RoomModel, room_model
from measure.errors import ReadingFileError, RoomFileError
from measure.files.room_file import RoomFile
from measure.placement.measurement_plan_file import (
    PlanEntry,
    read_measured_place,
    read_measurement_plan,
    read_planned_place,
    write_measurement_plan,
)

SEED: Final = 1
HIGHEST_HZ: Final = 300.0

Range = tuple[float, float, float]
"""Distances to try, metres: from, to and step."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Advice:
    """What is advised, and what it rests on.

    Attributes
    ----------
    rooms : tuple of DrawnRoom
        In which it was judged.
    offsets : ndarray, shape (11,)
        The likeliest room.
    """

    placement: Placement
    rooms: tuple[DrawnRoom, ...]
    offsets: Float


def model_and_places(
    path: Path, file: RoomFile, ranges: Sequence[Range | str | None], *, clearance_m: float
) -> tuple[RoomModel, Places]:
    """Return a room's model and the places to judge.

    Parameters
    ----------
    path : Path
        Of the room file, for errors.
    ranges : sequence
        What to try of front distance, half spread and seat: a range, ``keep``, or None for
        what the room allows.

    Returns
    -------
    tuple of RoomModel and Places

    Raises
    ------
    RoomFileError
        If no place is allowed, or the room is beyond the model.
    """
    derived = default_ranges_m(file.room, file.positions)
    today = current_distances_m(file.room, file.positions)
    tried = [_distances_to_try(*one) for one in zip(ranges, derived, today, strict=True)]
    try:
        places = allowed_places(
            file.room,
            file.positions,
            front_m=tried[0],
            spread_m=tried[1],
            seat_m=tried[2],
            furniture=file.furniture,
            clearance_m=clearance_m,
        )
        c = file.air.speed_of_sound_m_s
        return room_model(file.room, HIGHEST_HZ, speed_of_sound_m_s=c), places
    except ValueError as problem:
        msg = f"{path}: {problem}"
        raise RoomFileError(msg) from problem


def _distances_to_try(wanted: Range | str | None, derived: Float, today: float) -> Float:
    """Return the distances that an option means."""
    if wanted is None:
        return derived
    if isinstance(wanted, str):
        return np.array([today])
    low, high, step = wanted
    return np.round(np.arange(low, high + 1e-9, step), 4)


def read_measured_places(
    file: RoomFile, readings: Sequence[Path], plan: Path | None
) -> list[MeasuredPlace]:
    """Read all readings with their places: those given, and those of a measurement plan."""
    found = [read_measured_place(path, file.room, file.positions) for path in readings]
    if plan is not None:
        found += [
            read_planned_place(plan, entry, file.room, file.positions)
            for entry in read_measurement_plan(plan)
            if entry.reading
        ]
    return found


def fit_readings(model: RoomModel, measured: Sequence[MeasuredPlace]) -> RoomFit | None:
    """Return the fit, if there is something to fit.

    Raises
    ------
    ReadingFileError
        If the readings can't be fitted.
    """
    if not measured:
        return None
    try:
        return fit_room(model, measured)
    except ValueError as problem:
        msg = f"the readings can't be fitted: {problem}"
        raise ReadingFileError(msg) from problem


def advise(
    model: RoomModel, places: Places, fit: RoomFit | None, *, lower_end_hz: float | None = None
) -> Advice:
    """Return the choices, from the room file alone or after a fit.

    Parameters
    ----------
    lower_end_hz : float, optional
        Where the loudspeakers are 3 dB down; flat by default. A kept fit knows better.
    """
    rng = np.random.default_rng(SEED)
    end_hz = FLAT_TO_HZ if lower_end_hz is None else lower_end_hz
    rooms = draw_rooms(model, rng, fit=fit, lower_end_hz=end_hz)
    offsets = likeliest_offsets(fit, lower_end_hz=end_hz)
    error_db = None if fit is None else fit.model_error_db
    placement = choose_places(
        model,
        places,
        rng=rng,
        offsets=offsets,
        rooms=rooms,
        # Where nothing is to be trusted no choice is told.
        trusted=None if fit is None or fit.contradicted else fit.trusted,
        model_error_db=MODEL_ERROR_DB if error_db is None else error_db,
    )
    return Advice(placement=placement, rooms=rooms, offsets=offsets)


def update_measurement_plan(
    path: Path, advice: Advice, *, n_measured: int
) -> tuple[PlannedPlace, ...]:
    """Plan the places that are left, and write the measurement plan.

    Parameters
    ----------
    path : Path
        Of the plan; places with a reading stay as they are.
    n_measured : int
        Readings made so far.

    Returns
    -------
    tuple of PlannedPlace
        Those that are left.
    """
    fewest = max(0, FEWEST_PLACES - n_measured)
    most = max(fewest, MOST_PLACES - n_measured)
    planned = plan_measurements(advice.placement, advice.rooms, n_most=most, n_fewest=fewest)
    done = [entry for entry in read_measurement_plan(path) if entry.reading]
    entries = [
        PlanEntry(front_wall_m=one.front_wall_m, half_spread_m=one.half_spread_m, seat_m=one.seat_m)
        for one in planned
    ]
    write_measurement_plan(path, [*done, *entries])
    return planned
