"""Single reflections in rooms of any plan."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.basics.air import air_at
from analysis.room.boundary import cancellations
from analysis.room.floor_plan import FloorPlan
from analysis.room.reflections import reflections
from analysis.room.room import Point, Room
from analysis.room.space import Space, space_of

SOURCE, SEAT = Point(x_m=1.2, y_m=0.8, z_m=1.0), Point(x_m=2.25, y_m=3.0, z_m=1.1)


def test_a_box_agrees_with_its_boundary_cancellations() -> None:
    # Second method: `analysis.room.boundary`, itself held against a published distance table.
    room = Room(length_m=5.2, width_m=4.5, height_m=2.5)
    known = {
        one.surface: (one.frequency_hz, one.depth_db)
        for one in cancellations(room, SOURCE, SEAT, air=air_at())
        if one.order == 1
    }
    c = air_at().speed_of_sound_m_s
    found = {
        one.surface: (one.cancellations_hz(speed_of_sound_m_s=c)[0], one.depth_db)
        for one in reflections(space_of(room), SOURCE, SEAT)
    }
    assert found.keys() == known.keys()
    for surface, pair in known.items():
        assert found[surface] == pytest.approx(pair)


def test_a_wall_out_of_sight_reflects_nothing() -> None:
    # Known input: from the seat's arm the far walls of the other arm can't be met.
    plan = FloorPlan(corners_m=((0, 0), (6, 0), (6, 2), (2.5, 2), (2.5, 6), (0, 6)))
    source, seat = Point(x_m=1, y_m=3, z_m=1), Point(x_m=1, y_m=5.5, z_m=1)
    seen = {one.surface for one in reflections(Space(plan=plan, height_m=2.5), source, seat)}
    assert seen == {"front", "wall 4", "wall 5", "wall 6", "floor", "ceiling"}


def test_the_level_dips_by_the_depth_at_the_cancellation() -> None:
    # Invariant.
    (one, *_) = reflections(space_of(Room(length_m=5, width_m=4, height_m=2.5)), SOURCE, SEAT)
    at_hz = np.array(one.cancellations_hz(speed_of_sound_m_s=343.0))
    level = one.level_db(at_hz, speed_of_sound_m_s=343.0)
    np.testing.assert_allclose(level, one.depth_db)


def test_measured_reflections_arrive_when_the_mirror_says() -> None:
    # Open data: dEchorate (Di Carlo et al. 2021, MIT): arrival times read by hand from twelve
    # measured responses; places good to some 30 mm. One wall's notes are wrong by up to 2 ms
    # upstream and are left out.
    path = Path(__file__).parents[3].parent / "shared/data/shoebox-echo-12mic/data_rooge.mat"
    if not path.is_file():
        pytest.skip("the open data set shoebox-echo-12mic isn't here")
    from scipy.io import loadmat

    table = loadmat(path)
    room = Room(width_m=5.705, length_m=5.965, height_m=2.355)
    source = _point(np.squeeze(table["src"]))
    noted_s = np.reshape(table["T_reflct"], (6, 12)) - np.reshape(table["T_direct"], (1, 12))
    off_s: dict[str, list[float]] = {}
    for k, place in enumerate(np.reshape(table["mics"], (3, 12)).T):
        for one in reflections(space_of(room), source, _point(place)):
            row = ("left", "right", "front", "rear", "floor", "ceiling").index(one.surface)
            off_s.setdefault(one.surface, []).append(
                float(one.extra_path_m / 345.844 - noted_s[row, k])
            )
    for surface in ("left", "right", "rear", "floor", "ceiling"):
        assert len(off_s[surface]) == 12
        assert float(np.median(np.abs(off_s[surface]))) < 0.3e-3, surface


def _point(place: NDArray[np.float64]) -> Point:
    x_m, y_m, z_m = (float(value) for value in place)
    return Point(x_m=x_m, y_m=y_m, z_m=z_m)
