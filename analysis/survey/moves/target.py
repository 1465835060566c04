r"""Where a pair should stand, and whether it stands there well enough.

The target is symmetric about the centre line: both reference points at the offset a and the
depth b, both cabinets at one toe-in, the head on the line. What isn't asked for stays as near
to what is: a and b are then the means of both sides, which moves both least. With the head at
depth h and the tweeters a height t from the ear, a base angle :math:`\varphi` asks for

.. math:: a = \tan(\varphi / 2) \sqrt{(h - b)^2 + t^2}.

Tweeters of unlike heights, or a head left some millimetres x to the right of the line, make the
distances unequal in a symmetric place. Then the left one goes back and the right one forward by

.. math:: e = \frac{t_l^2 - t_r^2 + 4 a x}{4 (h - b)},

which makes them equal exactly.

A criterion *passes* within its tolerance, *fails* where it is beyond the tolerance and two
sigmas, and is *unsure* between.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from scipy.optimize import minimize_scalar

from analysis.basics.uncertainty import COVERAGE_FACTOR
from analysis.survey.adjustment.survey_network import nearest_segment
from analysis.survey.propagation import Estimate
from analysis.survey.solution import Solution
from analysis.survey.survey import HEAD, SIDES, Side
from analysis.survey.triangle import OUTWARD, SideEstimates, Triangle

DISTANCE_TOLERANCE_M: Final = 2e-3
"""Distances closer than this are equal: 6 microseconds. Common practice, no source."""

TOE_IN_TOLERANCE_DEG: Final = 0.2
"""A quarter of a millimetre at the edge of a narrow cabinet each; finer can't be taped."""

PLACE_TOLERANCE_M: Final = 5e-3
"""Offsets and depths may differ by this: what they do to the sound is in the distances. Common
practice, no source."""

ANGLE_TOLERANCE_DEG: Final = 0.5
"""Of a base angle that was asked for: 2 cm of base at 2.5 m. Common practice, no source."""

USUAL_BASE_ANGLE_DEG: Final = 60.0
"""The equilateral triangle, where a base angle is asked for without its size. Common practice."""

LARGEST_ANGLE_DEG: Final = 80.0
"""Toe-in and aim beyond it can't be meant: the fronts would face each other."""

LEAST_REACH_M: Final = 0.3
"""No target is nearer to the head than this, along the line."""

LARGEST_MOVE_M: Final = 3.0
"""No target is looked for farther than this toward the front wall."""


Verdict = Literal["passes", "fails", "unsure"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Target:
    """What is asked for.

    Attributes
    ----------
    base_angle_deg : float or None
        Apex angle, above 0 and below 180; None keeps the base.
    front_wall_m : float or None
        Mean distance of the reference points from the front wall; None keeps the depth.
    toe_in_deg, aim_deg : float or None
        Of both cabinets; at most one of them. None keeps the mean toe-in.
    """

    base_angle_deg: float | None = None
    front_wall_m: float | None = None
    toe_in_deg: float | None = None
    aim_deg: float | None = None
    distance_tolerance_m: float = DISTANCE_TOLERANCE_M
    toe_in_tolerance_deg: float = TOE_IN_TOLERANCE_DEG

    def __post_init__(self) -> None:
        if self.base_angle_deg is not None and not 0 < self.base_angle_deg < 180:
            msg = f"base_angle_deg {self.base_angle_deg} must lie between 0 and 180"
            raise ValueError(msg)
        if self.toe_in_deg is not None and self.aim_deg is not None:
            msg = "toe_in_deg and aim_deg can't both be asked for: one follows from the other"
            raise ValueError(msg)
        for name in ("toe_in_deg", "aim_deg"):
            given = getattr(self, name)
            if given is not None and not abs(given) <= LARGEST_ANGLE_DEG:
                msg = (
                    f"{name} {given} must lie from -{LARGEST_ANGLE_DEG:g} to {LARGEST_ANGLE_DEG:g}"
                )
                raise ValueError(msg)
        for name in ("distance_tolerance_m", "toe_in_tolerance_deg"):
            if not getattr(self, name) > 0:
                msg = f"{name} {getattr(self, name)} must lie above 0"
                raise ValueError(msg)


@dataclass(frozen=True, kw_only=True, slots=True)
class Criterion:
    """One thing that should be within a tolerance.

    Attributes
    ----------
    name : str
        ``distance``, ``toe_in``, ``offset``, ``depth``, ``seat``, ``base_angle``,
        ``front_wall`` or ``toe_in_asked``.
    off : Estimate
        How far it is off, in metres or radians.
    tolerance : float
        In the same unit.
    """

    name: str
    off: Estimate
    tolerance: float
    verdict: Verdict


@dataclass(frozen=True, kw_only=True, slots=True)
class SymmetricGoal:
    """Where both loudspeakers and the head belong.

    Attributes
    ----------
    offset_m, depth_m : float
        Of both reference points, the depth on average.
    depths_apart_m : float
        How much farther back than the right one the left one belongs, for equal distances.
    toe_in_rad : float
        Of both cabinets.
    head_m : tuple of float
        x and y of the head.
    """

    offset_m: float
    depth_m: float
    depths_apart_m: float
    toe_in_rad: float
    head_m: tuple[float, float]

    def side_depth_m(self, side: Side) -> float:
        """Return the depth at which one reference point belongs."""
        return self.depth_m + self.depths_apart_m * (0.5 if side == "left" else -0.5)

    def side_point_m(self, side: Side) -> tuple[float, float]:
        """Return x and y of where one reference point belongs."""
        return OUTWARD[side] * self.offset_m, self.side_depth_m(side)

    def side_toe_in_rad(self, side: Side) -> float:  # noqa: ARG002 - both alike
        """Return the toe-in of one cabinet."""
        return self.toe_in_rad


def judge(triangle: Triangle, target: Target, front_m: Estimate | None) -> list[Criterion]:
    """Return how well a pair stands.

    Parameters
    ----------
    front_m : Estimate or None
        Mean distance of the reference points from the front wall.

    Returns
    -------
    list of Criterion
        Those that the survey can tell.
    """
    toe_in = math.radians(target.toe_in_tolerance_deg)
    apart_m = depths_apart_now_m(triangle)
    asked = [
        ("distance", triangle.distance_m.left_minus_right, target.distance_tolerance_m),
        ("toe_in", triangle.toe_in_rad.left_minus_right, toe_in),
        ("offset", triangle.offset_m.left_minus_right, PLACE_TOLERANCE_M),
        ("depth", _subtract(triangle.depth_m.left_minus_right, apart_m), PLACE_TOLERANCE_M),
        ("seat", triangle.seat_offset_m, PLACE_TOLERANCE_M),
    ]
    if target.base_angle_deg is not None:
        off = _subtract(triangle.apex_angle_rad, math.radians(target.base_angle_deg))
        asked.append(("base_angle", off, math.radians(ANGLE_TOLERANCE_DEG)))
    if target.front_wall_m is not None and front_m is not None:
        asked.append(("front_wall", _subtract(front_m, target.front_wall_m), PLACE_TOLERANCE_M))
    angles = ((target.toe_in_deg, triangle.toe_in_rad), (target.aim_deg, triangle.aim_rad))
    for wanted, pair in angles:
        if wanted is not None:
            sides = [_subtract(pair.of(side), math.radians(wanted)) for side in SIDES]
            asked.append(
                ("toe_in_asked", max(sides, key=lambda one: abs(one.value_and_std[0])), toe_in)
            )
    return [
        Criterion(name=name, off=off, tolerance=tolerance, verdict=_judge_one(off, tolerance))
        for name, off, tolerance in asked
        if off.value is not None
    ]


def _subtract(estimate: Estimate, wanted: float) -> Estimate:
    """Return how far a quantity is from what is wanted."""
    if estimate.value is None:
        return estimate
    return Estimate(value=estimate.value - wanted, std=estimate.std)


def _judge_one(off: Estimate, tolerance: float) -> Verdict:
    """Return whether something is within its tolerance."""
    value, std = off.value_and_std
    if abs(value) <= tolerance:
        return "passes"
    return "fails" if abs(value) > COVERAGE_FACTOR * std else "unsure"


def depths_apart_now_m(triangle: Triangle) -> float:
    """Return how much farther back the left one belongs for equal distances, as they stand.

    Returns
    -------
    float
        In metres; 0 where the places aren't known.
    """
    means = [
        _mean_of_sides(pair) for pair in (triangle.offset_m, triangle.depth_m) if _both_known(pair)
    ]
    if len(means) < 2 or triangle.seat_depth_m.value is None:
        return 0.0
    return _depths_apart_m(triangle, means[0], triangle.seat_depth_m.value - means[1])


def _depths_apart_m(triangle: Triangle, offset_m: float, reach_m: float) -> float:
    """Return how much farther back the left one belongs at an offset, so far before the head."""
    difference = triangle.distance_m.left_minus_right
    # What is known less well than a place needs to be isn't made up for.
    if difference.std is None or difference.std > PLACE_TOLERANCE_M or reach_m <= 0:
        return 0.0
    left_m, right_m = (triangle.height_m.of(side).value_and_std[0] for side in SIDES)
    head_m = triangle.seat_offset_m.value_and_std[0]
    beside_m = head_m if abs(head_m) <= PLACE_TOLERANCE_M else 0.0
    return equal_distance_depths_m((left_m, right_m), offset_m, beside_m, reach_m)


def equal_distance_depths_m(
    heights_m: tuple[float, float], offset_m: float, beside_m: float, reach_m: float
) -> float:
    """Return how much farther back than the right one the left one belongs: 2 e, see above.

    Parameters
    ----------
    heights_m : tuple of float
        Of the left and the right tweeter above the ear.
    beside_m : float
        The head's place, positive to the right of the line.
    reach_m : float
        From the mean depth of both to the head's, above 0.

    Examples
    --------
    With the left tweeter 0.2 m higher and the head 1 cm to the right, the distances are equal.

    >>> apart_m = equal_distance_depths_m((0.3, 0.1), 1.0, 0.01, 2.0)
    >>> left_m = math.dist((-1, apart_m / 2, 0.3), (0.01, 2, 0))
    >>> right_m = math.dist((1, -apart_m / 2, 0.1), (0.01, 2, 0))
    >>> abs(left_m - right_m) < 1e-12
    True
    """
    left_m, right_m = heights_m
    return (left_m**2 - right_m**2 + 4 * offset_m * beside_m) / (2 * reach_m)


def offset_for_angle_m(base_angle_deg: float, reach_m: float, rise_m: float) -> float:
    """Return at which offset a pair has an angle at the head: a, see above.

    Parameters
    ----------
    base_angle_deg : float
        Above 0 and below 180.
    reach_m, rise_m : float
        From the pair's depth to the head's, and from the ear up to the tweeters.

    Examples
    --------
    >>> round(offset_for_angle_m(60.0, math.sqrt(3), 0.0), 9)
    1.0
    >>> round(offset_for_angle_m(90.0, 1.5, 2.0), 9)
    2.5
    """
    half = math.radians(base_angle_deg) / 2
    return math.tan(half) * math.hypot(reach_m, rise_m)


def symmetric_goal(solution: Solution, triangle: Triangle, target: Target) -> SymmetricGoal:
    """Return where both loudspeakers and the head belong.

    Parameters
    ----------
    triangle : Triangle
        With offsets, depths and toe-in known.

    Raises
    ------
    ValueError
        If a front-wall distance is asked for and no front wall was measured, or would put the
        loudspeakers at the head or behind it.
    """
    offset, depth, rise = map(
        _mean_of_sides, (triangle.offset_m, triangle.depth_m, triangle.height_m)
    )
    head_x, head_y = (float(value) for value in solution.place_m(HEAD)[:2])
    if abs(triangle.seat_offset_m.value_and_std[0]) > PLACE_TOLERANCE_M:
        head_x = 0.0

    def offset_at(depth_m: float) -> float:
        if target.base_angle_deg is None:
            return offset
        return offset_for_angle_m(target.base_angle_deg, head_y - depth_m, rise)

    if target.front_wall_m is not None:
        depth = _depth_for_wall(solution, target.front_wall_m, depth, offset_at)
    elif target.base_angle_deg is not None:
        depth = _nearest_depth(offset_at, offset, depth, head_y)
    _require_reach(head_y, depth)
    a = offset_at(depth)
    toe_in = _mean_of_sides(triangle.toe_in_rad)
    if target.toe_in_deg is not None:
        toe_in = math.radians(target.toe_in_deg)
    elif target.aim_deg is not None:
        toe_in = math.radians(target.aim_deg) + math.atan2(a, head_y - depth)
    return SymmetricGoal(
        offset_m=a,
        depth_m=depth,
        depths_apart_m=_depths_apart_m(triangle, a, head_y - depth),
        toe_in_rad=toe_in,
        head_m=(head_x, head_y),
    )


def _require_reach(head_y_m: float, depth_m: float) -> None:
    """Refuse a target at the head or behind it."""
    if head_y_m - depth_m < LEAST_REACH_M:
        before = f"{head_y_m - depth_m:.2f} m before the head"
        place = "behind the head" if head_y_m < depth_m else before
        msg = f"the target would put the loudspeakers {place}; it must leave {LEAST_REACH_M:g} m"
        raise ValueError(msg)


def _both_known(pair: SideEstimates) -> bool:
    """Return whether both sides of a quantity are known."""
    return all(pair.of(side).value is not None for side in SIDES)


def _mean_of_sides(pair: SideEstimates) -> float:
    """Return the mean of both sides."""
    return float(np.mean([pair.of(side).value_and_std[0] for side in SIDES]))


def _nearest_depth(
    offset_at: Callable[[float], float], offset_m: float, depth_m: float, head_m: float
) -> float:
    """Return the depth at which offset and depth together change least."""
    found = minimize_scalar(
        lambda tried: (offset_at(tried) - offset_m) ** 2 + (tried - depth_m) ** 2,
        bounds=(depth_m - LARGEST_MOVE_M, head_m),
        method="bounded",
        options={"xatol": 1e-6},
    )
    return float(found.x)


def _depth_for_wall(
    solution: Solution, wanted_m: float, depth_m: float, offset_at: Callable[[float], float]
) -> float:
    """Return the depth at which the mean distance from the front wall is as wanted."""
    parts = solution.survey_network.segments.get("front")
    if parts is None:
        msg = "a distance from the front wall is asked for, but no front wall was measured"
        raise ValueError(msg)
    places = solution.adjusted.positions_m
    for _ in range(20):
        found = []
        for side in SIDES:
            node = solution.survey_network.node[f"{side} tweeter"]
            first, second = (places[k, :2] for k in nearest_segment(parts, node, places))
            point = np.array([OUTWARD[side] * offset_at(depth_m), depth_m])
            line, away = second - first, point - first
            found.append(abs(line[0] * away[1] - line[1] * away[0]) / math.hypot(*line))
        short = wanted_m - float(np.mean(found))
        depth_m += short
        if abs(short) < 1e-7:
            break
    return depth_m
