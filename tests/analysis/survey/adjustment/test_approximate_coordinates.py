"""Rough places from the observations alone: crossings, mirror images, and whole rooms."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.survey.adjustment.approximate_coordinates import (
    Layout,
    SideConstraint,
    approximate_plans,
    node_heights,
)
from analysis.survey.adjustment.intersections import (
    distances_to_curves,
    intersections,
    observation_curves,
)
from analysis.survey.adjustment.network import NetworkObservation


def test_two_circles_cross_where_the_textbook_says() -> None:
    # Published example: base 6000, distances 5050 and 2420: (4637.18, 1999.78), and its mirror
    # image.
    plans = np.array([[[0.0, 0.0], [6000.0, 0.0]]])
    curves = [
        observation_curves(plans, ("distance", (k,), value)) for k, value in ((0, 5050), (1, 2420))
    ]
    (found,) = intersections(*curves)
    found = found[np.argsort(found[:, 1])]
    assert found == pytest.approx(np.array([[4637.18, -1999.78], [4637.18, 1999.78]]), abs=0.01)
    assert distances_to_curves(curves[0], found[None]) == pytest.approx(0, abs=1e-6)


def test_lines_and_circles_cross() -> None:
    # Closed form: the circle of radius 5 about the origin and the line 3 beside the y axis
    # cross at (3, 4) and its images; equal distances from two points give the line between.
    plans = np.array([[[0.0, 0.0], [0.0, 10.0], [8.0, 0.0]]])
    circle = observation_curves(plans, ("distance", (0,), 5.0))
    beside = observation_curves(plans, ("perpendicular", (0, 1), 3.0))
    (found,) = intersections(circle, beside)
    expected = {(3.0, 4.0), (3.0, -4.0), (-3.0, 4.0), (-3.0, -4.0)}
    assert {(round(float(x), 9), round(float(y), 9)) for x, y in found} == expected
    along = observation_curves(plans, ("along", (0, 1), 4.0))
    between = observation_curves(plans, ("equal", (0, 2), 0.0))
    (found,) = intersections(along, between)
    assert found == pytest.approx(np.array([[4.0, 4.0]]))


def test_heights_leave_the_slope_distance_level() -> None:
    # Closed form: 13 long and 5 high is 12 in plan; and mirror images are told apart by what
    # was said of left and right.
    observations = [
        NetworkObservation(kind="distance", nodes=(0, 1), value=13.0, std=1e-3),
        NetworkObservation(kind="distance", nodes=(0, 2), value=9.0, std=1e-3),
        NetworkObservation(kind="distance", nodes=(1, 2), value=15.0, std=1e-3),
        NetworkObservation(kind="height", nodes=(1,), value=5.0, std=1e-3),
    ]
    heights_m = node_heights(observations, 3, usual_m=0.0)
    heights_m[2] = 5.0
    plan = {}
    for side, said in (
        ("right", SideConstraint(lower=-1, higher=2, axis=0)),
        ("left", SideConstraint(lower=2, higher=-1, axis=0)),
    ):
        layout = Layout(
            usual_m=np.zeros((3, 2)), fixed_nodes=(), origin=(0,), ahead=(1,), constraints=(said,)
        )
        plan[side], cost = approximate_plans(observations, heights_m, layout)[0]
        assert cost < 1
    assert plan["left"][1] == pytest.approx((0, 12), abs=1e-9)
    across = float(np.sqrt(9**2 - 5**2))
    # Law of cosines in plan: 12, sqrt(56) and 15.
    y = (12**2 + across**2 - 15**2) / (2 * 12)
    x = np.sqrt(across**2 - y**2)
    assert plan["right"][2] == pytest.approx((x, y), abs=1e-9)
    assert plan["left"][2] == pytest.approx((-x, y), abs=1e-9)
