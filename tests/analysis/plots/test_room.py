"""The figure of each surface's reflection."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from matplotlib.figure import Figure

from analysis.plots.room import reflections_figure
from analysis.room.floor_plan import FloorPlan
from analysis.room.reflections import reflections, together_db
from analysis.room.room import Point, Room

SPACE = Room(
    plan=FloorPlan(corners_m=((0, 0), (4, 0), (4.4, 5), (0, 5))),
    height_m=2.5,
    absorption={"front": 0.0},
)
SEAT = Point(x_m=2.0, y_m=3.2, z_m=1.1)
HEARD = {
    side: reflections(SPACE, Point(x_m=x_m, y_m=0.8, z_m=0.6), SEAT)
    for side, x_m in (("left", 1.0), ("right", 3.0))
}


def test_it_obeys_the_rules(check_figure: Callable[[Figure], None]) -> None:
    check_figure(reflections_figure(HEARD, speed_of_sound_m_s=343.0))


def test_a_panel_a_surface_and_one_for_all() -> None:
    figure = reflections_figure(HEARD, speed_of_sound_m_s=343.0)
    titles = [ax.get_title(loc="left") for ax in figure.axes]
    assert len(titles) == len({one.surface for many in HEARD.values() for one in many}) + 1
    assert titles[-1] == "All of these together"


def test_two_paths_add_as_pressures() -> None:
    # Closed form: |1/r_d e^(-jk r_d) + R/r_i e^(-jk r_i)| over 1/r_d, by the mirrored place.
    frequency_hz = np.array([40.0, 71.0, 180.0])
    front = next(one for one in HEARD["left"] if one.surface == "front")
    direct = np.linalg.norm([1.0, 2.4, 0.5])
    image = np.linalg.norm([1.0, 4.0, 0.5])
    k = 2 * np.pi * frequency_hz / 343.0
    sum_ = np.exp(-1j * k * direct) / direct + np.exp(-1j * k * image) / image
    expected_db = 20 * np.log10(np.abs(sum_) * direct)
    found_db = together_db((front,), frequency_hz, speed_of_sound_m_s=343.0)
    assert found_db == pytest.approx(expected_db)
    drawn = reflections_figure(HEARD, speed_of_sound_m_s=343.0)
    panel = next(ax for ax in drawn.axes if ax.get_title(loc="left") == "Front")
    x, y = panel.lines[1].get_data()
    at_71 = np.interp(71.0, np.asarray(x, float), np.asarray(y, float))
    assert at_71 == pytest.approx(expected_db[1], abs=0.02)
