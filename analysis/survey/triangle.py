r"""The triangle of a pair and a head: distances, offsets, angles, each with one sigma.

Conventions: left minus right. *Distance*: from the head to a loudspeaker's reference point, in
space. *Offset*: of the reference point from the centre line, positive away from it. *Depth*:
along the line toward the rear. *Toe-in*: of a cabinet's axis, square to the line through its
front edges, against the centre line, positive inward. *Aim*: of the axis against the line from
the reference point to the head, in plan, positive where the two axes cross in front of the
head. *Apex angle*: at the head, between both reference points, in space. *Ratio*: mean distance
over base width, 1 for an equilateral triangle.

With the distances a, b and the base c the apex angle is
:math:`\arccos((a^2 + b^2 - c^2) / 2ab)`, the law of cosines.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.basics.arrays import Float
from analysis.survey.propagation import Estimate, propagate
from analysis.survey.solution import Solution
from analysis.survey.survey import HEAD, SIDES, Side

OUTWARD: Final[dict[Side, float]] = {"left": -1.0, "right": 1.0}
"""Sign of x away from the centre line."""


@dataclass(frozen=True, kw_only=True, slots=True)
class SideEstimates:
    """A quantity of both sides."""

    left: Estimate
    right: Estimate
    left_minus_right: Estimate

    def of(self, side: Side) -> Estimate:
        """Return one side's."""
        return self.left if side == "left" else self.right


@dataclass(frozen=True, kw_only=True, slots=True)
class Triangle:
    """How a pair stands to the head and the centre line.

    Attributes
    ----------
    toe_in_edge_m : Estimate
        The difference in toe-in as it shows at a cabinet's outer edge with the inner one
        held.
    height_m : Pair
        Tweeter above the ear.
    seat_offset_m : Estimate
        The head's x, positive to the right of the line.
    seat_depth_m : Estimate
        The head's place along the line.
    """

    distance_m: SideEstimates
    offset_m: SideEstimates
    depth_m: SideEstimates
    toe_in_rad: SideEstimates
    aim_rad: SideEstimates
    toe_in_edge_m: Estimate
    height_m: SideEstimates
    base_width_m: Estimate
    apex_angle_rad: Estimate
    seat_ratio: Estimate
    seat_offset_m: Estimate
    seat_depth_m: Estimate


def cabinet_axis(inner: Float, outer: Float, side: Side) -> Float:
    """Return the direction in which a cabinet faces, in plan.

    Parameters
    ----------
    inner, outer : ndarray, shape (..., 2) or (..., 3)
        Places of its front edges.

    Returns
    -------
    ndarray, shape (..., 2)
        Unit vectors; toward the rear of the room for a cabinet that faces the seat.

    Examples
    --------
    A left cabinet straight ahead, and one turned inward by 45 degrees: its outer edge is nearer
    the rear.

    >>> inner = np.array([-1.0, 0.0])
    >>> cabinet_axis(inner, np.array([-1.2, 0.0]), "left") + 0.0
    array([0., 1.])
    >>> cabinet_axis(inner, np.array([-1.2, 0.2]), "left").round(3)
    array([0.707, 0.707])
    """
    front = (inner - outer)[..., :2] * -OUTWARD[side]
    front = front / np.linalg.norm(front, axis=-1, keepdims=True)
    return np.stack([-front[..., 1], front[..., 0]], axis=-1)


def apex_angle_rad(left_m: Float, right_m: Float, base_m: Float) -> Float:
    """Return the angle at the head between both reference points: the law of cosines.

    Parameters
    ----------
    left_m, right_m, base_m : ndarray, any one shape
        Both distances from the head, and the base.

    Examples
    --------
    An equilateral triangle, and one of the sides 3, 4 and 5.

    >>> sides = np.array([2.0, 3.0]), np.array([2.0, 4.0]), np.array([2.0, 5.0])
    >>> np.degrees(apex_angle_rad(*sides)).round(9)
    array([60., 90.])
    """
    cosine = (left_m**2 + right_m**2 - base_m**2) / (2 * left_m * right_m)
    return np.arccos(np.clip(cosine, -1, 1))


def triangle_quantities(places: Float, node: dict[str, int]) -> dict[str, Float]:
    """Return the quantities of a triangle.

    Parameters
    ----------
    places : ndarray, shape (..., n_nodes, 3)
        In the survey's frame, in metres.

    Returns
    -------
    dict of str to ndarray, shape (...)
        In metres and radians, with ``NAME.left``, ``NAME.right`` and their difference
        ``NAME.left_minus_right``.
    """
    at = {name: places[..., k, :] for name, k in node.items()}
    found: dict[str, Float] = {}
    for side in SIDES:
        for name, value in _side_quantities(at, side).items():
            found[f"{name}.{side}"] = value
    for name in [key.removesuffix(".left") for key in found if key.endswith(".left")]:
        found[f"{name}.left_minus_right"] = found[f"{name}.left"] - found[f"{name}.right"]
    base = np.linalg.norm(at["left tweeter"] - at["right tweeter"], axis=-1)
    left, right = found["distance.left"], found["distance.right"]
    width = sum(
        np.linalg.norm(at[f"{side} inner"] - at[f"{side} outer"], axis=-1) for side in SIDES
    )
    return found | {
        "toe_in_edge": found["toe_in.left_minus_right"] * width / 2,
        "base_width": base,
        "apex_angle": apex_angle_rad(left, right, base),
        "seat_ratio": (left + right) / (2 * base),
        "seat_offset": at[HEAD][..., 0],
        "seat_depth": at[HEAD][..., 1],
    }


def _side_quantities(at: dict[str, Float], side: Side) -> dict[str, Float]:
    """Return what belongs to one loudspeaker."""
    tweeter, outward = at[f"{side} tweeter"], OUTWARD[side]
    to_head = at[HEAD] - tweeter
    axis = cabinet_axis(at[f"{side} inner"], at[f"{side} outer"], side)
    toe_in = np.arctan2(-outward * axis[..., 0], axis[..., 1])
    bearing = np.arctan2(-outward * to_head[..., 0], to_head[..., 1])
    return {
        "distance": np.linalg.norm(to_head, axis=-1),
        "offset": outward * tweeter[..., 0],
        "depth": tweeter[..., 1],
        "toe_in": toe_in,
        "aim": toe_in - bearing,
        "height": -to_head[..., 2],
    }


def survey_triangle(solution: Solution) -> Triangle:
    """Return the triangle of a solved survey."""
    node = solution.survey_network.node
    found = propagate(solution.adjusted, lambda places: triangle_quantities(places, node))

    def pair(name: str) -> SideEstimates:
        return SideEstimates(
            left=found[f"{name}.left"],
            right=found[f"{name}.right"],
            left_minus_right=found[f"{name}.left_minus_right"],
        )

    return Triangle(
        distance_m=pair("distance"),
        offset_m=pair("offset"),
        depth_m=pair("depth"),
        toe_in_rad=pair("toe_in"),
        aim_rad=pair("aim"),
        toe_in_edge_m=found["toe_in_edge"],
        height_m=pair("height"),
        base_width_m=found["base_width"],
        apex_angle_rad=found["apex_angle"],
        seat_ratio=found["seat_ratio"],
        seat_offset_m=found["seat_offset"],
        seat_depth_m=found["seat_depth"],
    )
