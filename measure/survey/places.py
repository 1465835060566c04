"""Where a survey finds the loudspeakers and the head, in the coordinates of a room file.

Conventions: those of `measure.files.room_file`. A survey trusts no wall and a room file is drawn by
its walls, so a place is told by its distances from them: where two opposite walls were
measured, it divides the room as it divides the distance between these.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from analysis.room.floor_plan import FloorPlan
from analysis.room.room import Loudspeaker, Point, Positions, Room
from analysis.survey.propagation import Estimate
from analysis.survey.result import SurveyResult
from analysis.survey.survey import HEAD, SIDES, reference_point
from analysis.survey.walls import coordinate_between_m
from measure.errors import SurveyFileError
from measure.files.room_file import RoomFile, read_room
from measure.survey.evaluation import evaluate_file
from measure.survey.file import read_survey

MOST_APART_M: Final = 0.10
"""By more than this a survey and a room file that speak of one room don't differ: a wall that
bulges or stands askew gives some centimetres (common practice, no source)."""

_ENDS: Final = (("left", "right"), ("front", "rear"))
"""The walls at both ends of x and of y."""

_ON_WALL_M: Final = 1e-6


@dataclass(frozen=True, kw_only=True, slots=True)
class SurveyedPlaces:
    """The places of a survey.

    Attributes
    ----------
    path : Path
        The survey's file.
    """

    path: Path
    result: SurveyResult

    def positions_in(self, room: Room) -> Positions:
        """Return the places in a room's coordinates, the woofers at the tweeters' height.

        Raises
        ------
        SurveyFileError
            If the survey lacks a wall, or disagrees with the room.
        """
        return Positions(
            left=Loudspeaker(tweeter=self._point_in("left", room)),
            right=Loudspeaker(tweeter=self._point_in("right", room)),
            seat=self._point_in(HEAD, room),
        )

    def provenance_lines(self) -> list[str]:
        """Return what is said of where the places come from."""
        said = [f"Places from the survey {self.path.name}; one sigma of each from the walls:"]
        for name in (*SIDES, HEAD):
            x_mm, y_mm = (self._std_m(name, walls) * 1e3 for walls in _ENDS)
            covariance_m2 = self.result.solution.place_covariance(reference_point(name))
            z_mm = math.sqrt(covariance_m2[2, 2]) * 1e3
            said.append(f"  {name:5} x ± {x_mm:.1f}, y ± {y_mm:.1f}, z ± {z_mm:.1f} mm")
        if self.result.doubts:
            said.append("Mind: this survey contradicts itself; see `apexline survey`.")
        return said

    def _std_m(self, name: str, walls: tuple[str, str]) -> float:
        """Return how well a place's distance from the nearer known of two walls is known."""
        at = self.result.walls.distances_m(name)
        known = [
            at[wall].value_and_std[1] for wall in walls if wall in at and at[wall].value is not None
        ]
        return min(known, default=math.inf)

    def _point_in(self, name: str, room: Room) -> Point:
        """Return a place."""
        at = self.result.walls.distances_m(name)
        height_m = float(self.result.solution.place_m(reference_point(name))[2])
        return Point(
            x_m=self._coordinate(name, at, room.plan, axis=0),
            y_m=self._coordinate(name, at, room.plan, axis=1),
            z_m=height_m,
        )

    def _coordinate(
        self, name: str, at: dict[str, Estimate], plan: FloorPlan, *, axis: int
    ) -> float:
        """Return a coordinate from the distances to the walls at both ends of an axis."""
        near, far = _ENDS[axis]
        low_m, high_m = plan.bounds_m[axis], plan.bounds_m[axis + 2]
        from_low = _known_distance(at, near) if _has_wall(plan, axis, low_m) else None
        from_high = _known_distance(at, far) if _has_wall(plan, axis, high_m) else None
        if from_low is not None and from_high is not None:
            found_m, drawn_m = from_low + from_high, high_m - low_m
            if abs(found_m - drawn_m) > MOST_APART_M:
                msg = (
                    f"{self.path}: at {name} the survey finds {found_m:.2f} m between the {near} "
                    f"and the {far} wall, the room file {drawn_m:.2f} m: correct the wrong one"
                )
                raise SurveyFileError(msg)
            return low_m + coordinate_between_m(from_low, from_high, drawn_m)
        if from_low is not None:
            return low_m + from_low
        if from_high is not None:
            return high_m - from_high
        msg = (
            f"{self.path}: nothing says how far {name} stands from the {near} or the {far} wall "
            f'of the floor plan: add readings such as "head to wall {near}"'
        )
        raise SurveyFileError(msg)


def surveyed_places(path: Path) -> SurveyedPlaces:
    """Return the places of a survey.

    Raises
    ------
    SurveyFileError
        If the survey can't be read, or leaves a place open.
    """
    file = read_survey(path)
    result = evaluate_file(file)
    open_places = [
        name for name in (*SIDES, HEAD) if reference_point(name) in result.solution.open_nodes
    ]
    if open_places:
        msg = f"{path}: the readings don't fix where {' and '.join(open_places)} stands"
        raise SurveyFileError(msg)
    return SurveyedPlaces(path=path, result=result)


def room_with_survey(room: Path, survey: Path | None) -> tuple[RoomFile, list[str]]:
    """Return a room file, with its places from a survey if there is one, and what to say of it.

    Returns
    -------
    file : RoomFile
    lines : list of str
        Empty without a survey.

    Raises
    ------
    RoomFileError, SurveyFileError
        If a file can't be used, or they contradict each other.
    """
    if survey is None:
        return read_room(room), []
    places = surveyed_places(survey)
    return read_room(room, places=places.positions_in), [*places.provenance_lines(), ""]


def _known_distance(at: dict[str, Estimate], wall: str) -> float | None:
    """Return a distance from a wall, where the survey has it."""
    return at[wall].value if wall in at else None


def _has_wall(plan: FloorPlan, axis: int, value_m: float) -> bool:
    """Return whether a wall of the plan runs along the given end of an axis."""
    on = np.abs(plan.array[:, axis] - value_m) < _ON_WALL_M
    return bool((on & np.roll(on, -1)).any())
