"""The walls as measured: how far each cabinet stands from them, how square and how straight.

Conventions: distances in plan. A wall with several marks runs straight from mark to mark;
distances are to its nearest part. Its *direction* is that of the straight line that fits its
marks best (least squares of the distances from it). *Skew*: how far that line is turned from
where a square room on the centre line would have it, positive counter-clockwise on the plan as
drawn, front wall on top. A *corner* is the angle inside the room between two walls.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.basics.arrays import Float
from analysis.survey.adjustment.survey_network import nearest_segment
from analysis.survey.propagation import Estimate, propagate
from analysis.survey.solution import Solution
from analysis.survey.survey import HEAD, SIDES, Side, Wall, WallName
from analysis.survey.triangle import cabinet_axis

_ALONG_X: Final = ("front", "rear")
_CORNERS: Final = (("front", "left"), ("front", "right"), ("rear", "left"), ("rear", "right"))


@dataclass(frozen=True, kw_only=True, slots=True)
class WallDistance:
    """How far something stands from a wall.

    Attributes
    ----------
    reference_m : Estimate
        Of a cabinet's reference point, or the head.
    gap_m : Estimate or None
        Of the cabinet's nearest corner; None for the head.
    """

    wall: WallName
    reference_m: Estimate
    gap_m: Estimate | None


@dataclass(frozen=True, kw_only=True, slots=True)
class WallShape:
    """How a wall runs.

    Attributes
    ----------
    bend_m : Estimate or None
        Largest distance of a mark from the line that fits best, positive into the room; None
        with fewer than three marks.
    bend_mark : str or None
        At which mark.
    """

    wall: WallName
    skew_rad: Estimate
    bend_m: Estimate | None
    bend_mark: str | None


@dataclass(frozen=True, kw_only=True, slots=True)
class SurveyWalls:
    """The walls of a survey.

    Attributes
    ----------
    cabinets : mapping of str to tuple of WallDistance
        By side.
    shapes : tuple of WallShape
    corners_rad : mapping of (str, str) to Estimate
        Angle between two walls less a right angle.
    """

    cabinets: dict[Side, tuple[WallDistance, ...]]
    head: tuple[WallDistance, ...]
    shapes: tuple[WallShape, ...]
    corners_rad: dict[tuple[str, str], Estimate]

    def distances_m(self, place: str) -> dict[str, Estimate]:
        """Return the distances of ``left``, ``right``, ``head`` or ``seat`` from the walls."""
        found = self.cabinets[place] if place in SIDES else self.head
        return {one.wall: one.reference_m for one in found}


def coordinate_between_m(near_m: float, far_m: float, span_m: float) -> float:
    """Return a coordinate that divides a room's drawn span as a place does the surveyed one.

    Parameters
    ----------
    near_m, far_m : float
        Surveyed distances from the wall at 0 and from the opposite one.
    span_m : float
        From wall to wall in the room as drawn.

    Examples
    --------
    A quarter of the way:

    >>> coordinate_between_m(1.0, 3.0, 4.1)
    1.025
    """
    return near_m / (near_m + far_m) * span_m


def cabinet_corners(places: Float, node: dict[str, int], side: Side, depth_m: float) -> Float:
    """Return a cabinet's corners in plan.

    Parameters
    ----------
    places : ndarray, shape (..., n_nodes, 3)

    Returns
    -------
    ndarray, shape (..., 4, 2)
        Front inner, front outer, rear outer, rear inner.
    """
    inner = places[..., node[f"{side} inner"], :2]
    outer = places[..., node[f"{side} outer"], :2]
    back = depth_m * cabinet_axis(inner, outer, side)
    return np.stack([inner, outer, outer - back, inner - back], axis=-2)


def survey_walls(solution: Solution) -> SurveyWalls:
    """Return distances from the walls and their shapes."""
    found = propagate(solution.adjusted, lambda places: _wall_quantities(solution, places))
    segments = solution.survey_network.segments

    def distances(name: str, *, gaps: bool) -> tuple[WallDistance, ...]:
        return tuple(
            WallDistance(
                wall=wall,
                reference_m=found[f"{name}.{wall}"],
                gap_m=found[f"{name}.{wall}.gap"] if gaps else None,
            )
            for wall in segments
        )

    return SurveyWalls(
        cabinets={side: distances(side, gaps=True) for side in SIDES},
        head=distances(HEAD, gaps=False),
        shapes=tuple(_wall_shape(wall, found) for wall in solution.survey_network.survey.walls),
        corners_rad={
            pair: found["corner.{}.{}".format(*pair)]
            for pair in _CORNERS
            if pair[0] in segments and pair[1] in segments
        },
    )


def _wall_shape(wall: Wall, found: dict[str, Estimate]) -> WallShape:
    """Return how a wall runs, and its mark farthest from straight."""
    bend, mark = None, None
    if len(wall.marks) >= 3:
        mark = max(
            wall.marks, key=lambda name: abs(found[f"bend.{wall.name}.{name}"].value_and_std[0])
        )
        bend = found[f"bend.{wall.name}.{mark}"]
    skew = found[f"skew.{wall.name}"]
    return WallShape(wall=wall.name, skew_rad=skew, bend_m=bend, bend_mark=mark)


def _wall_quantities(solution: Solution, places: Float) -> dict[str, Float]:
    """Return distances, skews, bends and corners."""
    survey_network = solution.survey_network
    found: dict[str, Float] = {}
    points = {side: places[..., survey_network.node[f"{side} tweeter"], :2] for side in SIDES}
    for wall, parts in survey_network.segments.items():
        for name, point in (*points.items(), (HEAD, places[..., survey_network.node[HEAD], :2])):
            node = survey_network.node[HEAD if name == HEAD else f"{name} tweeter"]
            ends = nearest_segment(parts, node, solution.adjusted.positions_m)
            found[f"{name}.{wall}"] = _distance_to_line(places, ends, point)
        for side in SIDES:
            found[f"{side}.{wall}.gap"] = _cabinet_gap(solution, places, side, wall)
        _add_wall_shape(solution, places, wall, found)
    for first, second in _CORNERS:
        if first in survey_network.segments and second in survey_network.segments:
            turn = found[f"skew.{first}"] - found[f"skew.{second}"]
            sign = 1.0 if (first == "front") == (second == "left") else -1.0
            found[f"corner.{first}.{second}"] = sign * turn
    return found


def tweeter_wall_distances(solution: Solution, places: Float) -> dict[str, Float]:
    """Return the distance in plan of both reference points from each wall.

    Parameters
    ----------
    places : ndarray, shape (..., n_nodes, 3)

    Returns
    -------
    dict of str to ndarray, shape (...)
        By the words of an observation, such as ``left tweeter to wall front``; in metres.
    """
    found = {}
    for wall, parts in solution.survey_network.segments.items():
        for side in SIDES:
            node = solution.survey_network.node[f"{side} tweeter"]
            ends = nearest_segment(parts, node, solution.adjusted.positions_m)
            found[f"{side} tweeter to wall {wall}"] = _distance_to_line(
                places, ends, places[..., node, :2]
            )
    return found


def _distance_to_line(places: Float, ends: tuple[int, int], point: Float) -> Float:
    """Return the distance of points from the line through two nodes.

    Examples
    --------
    A wall along y = 3 x / 4, and the point (0, 5): 5 times the cosine of the wall's slope.

    >>> places = np.array([[0.0, 0.0, 0.0], [4.0, 3.0, 0.0]])
    >>> _distance_to_line(places, (0, 1), np.array([0.0, 5.0])).item()
    4.0
    """
    first, second = places[..., ends[0], :2], places[..., ends[1], :2]
    line = second - first
    away = point - first
    cross = line[..., 0] * away[..., 1] - line[..., 1] * away[..., 0]
    return np.asarray(np.abs(cross) / np.linalg.norm(line, axis=-1))


def _cabinet_gap(solution: Solution, places: Float, side: Side, wall: WallName) -> Float:
    """Return the distance of a cabinet's nearest corner from a wall."""
    survey_network = solution.survey_network
    corners = cabinet_corners(
        places, survey_network.node, side, survey_network.survey.cabinets[side].depth_m
    )
    parts = survey_network.segments[wall]
    ends = nearest_segment(
        parts, survey_network.node[f"{side} tweeter"], solution.adjusted.positions_m
    )
    gaps = np.stack(
        [_distance_to_line(places, ends, corners[..., k, :]) for k in range(4)], axis=-1
    )
    nearest = int(np.argmin(gaps.reshape(-1, 4)[0]))
    return np.asarray(gaps[..., nearest])


def _add_wall_shape(
    solution: Solution, places: Float, wall: WallName, found: dict[str, Float]
) -> None:
    """Add a wall's skew, and how far its marks are from straight."""
    parts = solution.survey_network.segments[wall]
    nodes = [parts[0][0], *(part[1] for part in parts)]
    marks = places[..., nodes, :2]
    middle = marks.mean(axis=-2, keepdims=True)
    x, y = np.moveaxis(marks - middle, -1, 0)
    if wall not in _ALONG_X:
        x, y = y, -x
    # The principal axis of the marks, as an angle from where the wall should run.
    slope = 0.5 * np.arctan2(2 * (x * y).sum(-1), (x**2 - y**2).sum(-1))
    found[f"skew.{wall}"] = -slope
    inward = 1.0 if wall in ("front", "right") else -1.0
    bend = inward * (y * np.cos(slope)[..., None] - x * np.sin(slope)[..., None])
    for k, node in enumerate(nodes):
        found[f"bend.{wall}.{solution.survey_network.names[node]}"] = bend[..., k]
