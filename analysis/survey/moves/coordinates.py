"""A survey's places as coordinates of the room, and the way between two such places.

Conventions: x from the left wall, y from the front wall, both in plan and square to it, z from
the floor, in metres. In a room that isn't square each place has its own distances.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from analysis.basics.uncertainty import COVERAGE_FACTOR
from analysis.survey.moves.put_back import PLAN_SIGMAS, ObservationToRestore, Step
from analysis.survey.moves.target import PLACE_TOLERANCE_M
from analysis.survey.propagation import Estimate
from analysis.survey.result import SurveyResult
from analysis.survey.survey import SIDES, SURVEY_TAPE_STD_M, reference_point

Thing = Literal["left", "right", "seat"]
THINGS: Final[tuple[Thing, ...]] = ("left", "right", "seat")

UNKNOWN_STD_M: Final = 0.01
"""One sigma of a coordinate where none was kept: read once with a tape to a wall. Common
practice, no source."""

TOE_IN_STD_DEG: Final = 1.0
"""One sigma of a toe-in of which none was kept. Common practice, no source."""


@dataclass(frozen=True, kw_only=True, slots=True)
class RoomPlaces:
    """Where a pair and a head stand in a room.

    Attributes
    ----------
    places_m : mapping of str to tuple of float
        x, y, z of ``left``, ``right`` and ``seat``.
    std_m : float
        One sigma of a coordinate.
    toe_in_deg : mapping of str to float
        Of the sides where it is known.
    """

    places_m: Mapping[Thing, tuple[float, float, float]]
    std_m: float
    toe_in_deg: Mapping[str, float]
    toe_in_std_deg: float = TOE_IN_STD_DEG


def room_places(result: SurveyResult) -> RoomPlaces:
    """Return a survey's places as coordinates of the room.

    Returns
    -------
    RoomPlaces
        With the largest sigma of all coordinates.

    Raises
    ------
    ValueError
        If the survey doesn't fix the distances from the left and the front wall.
    """
    places: dict[Thing, tuple[float, float, float]] = {}
    stds = []
    for what in THINGS:
        at, node = result.walls.distances_m(what), reference_point(what)
        for wall in ("left", "front"):
            if wall not in at or at[wall].value is None:
                msg = f'the {wall} wall isn\'t fixed: add a reading such as "{node} to wall {wall}"'
                raise ValueError(msg)
        height_std = float(result.solution.place_covariance(node)[2, 2]) ** 0.5
        (x, x_std), (y, y_std) = at["left"].value_and_std, at["front"].value_and_std
        places[what] = (x, y, float(result.solution.place_m(node)[2]))
        stds += [x_std, y_std, height_std]
    toe_ins = {side: result.triangle.toe_in_rad.of(side) for side in SIDES}
    known = {side: one.value_and_std for side, one in toe_ins.items() if one.value is not None}
    return RoomPlaces(
        places_m=places,
        std_m=max(stds),
        toe_in_deg={side: math.degrees(value) for side, (value, _) in known.items()},
        toe_in_std_deg=math.degrees(max((std for _, std in known.values()), default=0.0)),
    )


def steps_between(today: RoomPlaces, kept: RoomPlaces) -> tuple[Step, ...]:
    """Return how far everything has to go.

    Returns
    -------
    tuple of Step
        Left, right, seat; toward the front wall and outward, toward the side wall.
    """
    std_m = math.hypot(today.std_m, kept.std_m)
    return tuple(_step_to(what, today, kept, std_m) for what in THINGS)


def _step_to(what: Thing, today: RoomPlaces, kept: RoomPlaces, std_m: float) -> Step:
    """Return how far one thing has to go."""
    way = np.subtract(kept.places_m[what], today.places_m[what])
    outward = -1.0 if what == "left" else 1.0
    turn = None
    if what in today.toe_in_deg and what in kept.toe_in_deg:
        std_deg = math.hypot(today.toe_in_std_deg, kept.toe_in_std_deg)
        turn_deg = kept.toe_in_deg[what] - today.toe_in_deg[what]
        turn = Estimate(value=math.radians(turn_deg), std=math.radians(std_deg))
    return Step(
        what=what,
        toward_wall_m=Estimate(value=-float(way[1]), std=std_m),
        outward_m=Estimate(value=outward * float(way[0]), std=std_m),
        turn_rad=turn,
        higher_m=Estimate(value=float(way[2]), std=std_m),
        moves=math.hypot(way[0], way[1]) > PLAN_SIGMAS * std_m,
        turns=turn is not None
        and abs(turn.value_and_std[0]) > COVERAGE_FACTOR * turn.value_and_std[1],
    )


def observations_to_restore(
    today: RoomPlaces | None, kept: RoomPlaces
) -> tuple[ObservationToRestore, ...]:
    """Return what a tape must read at a kept place.

    Parameters
    ----------
    today : RoomPlaces or None
        What it reads now; None repeats the kept value.

    Returns
    -------
    tuple of ObservationToRestore
        To the walls, from the head to both tweeters and from tweeter to tweeter.
    """
    now = kept if today is None else today
    found = []
    for what in THINGS:
        name = reference_point(what)
        for axis, wall in enumerate(("left", "front")):
            pair = now.places_m[what][axis], kept.places_m[what][axis]
            found.append(_distance_to_restore(f"{name} to wall {wall}", pair, kept.std_m))
    pairs: tuple[tuple[Thing, Thing], ...]
    pairs = (("seat", "left"), ("seat", "right"), ("left", "right"))
    for a, b in pairs:
        spans = _distance_between(now, a, b), _distance_between(kept, a, b)
        name = reference_point(a)
        found.append(
            _distance_to_restore(f"{name} to {b} tweeter", spans, kept.std_m * math.sqrt(2))
        )
    return tuple(found)


def _distance_between(one: RoomPlaces, a: Thing, b: Thing) -> float:
    """Return the distance between two things in space."""
    return math.dist(one.places_m[a], one.places_m[b])


def _distance_to_restore(
    label: str, pair_m: tuple[float, float], std_m: float
) -> ObservationToRestore:
    """Return a distance now and then."""
    kind: Literal["perpendicular", "distance"] = "perpendicular" if "wall" in label else "distance"
    return ObservationToRestore(
        label=label, kind=kind, now=pair_m[0], then=pair_m[1], std=std_m, read_std=SURVEY_TAPE_STD_M
    )


def height_differs(step: Step) -> bool:
    """Return whether a tweeter or the head stood at another height, beyond doubt."""
    value, std = step.higher_m.value_and_std
    return abs(value) > max(PLACE_TOLERANCE_M, COVERAGE_FACTOR * std)
