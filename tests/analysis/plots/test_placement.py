"""The figures of the advised places."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure

from analysis.placement.choice import Placement, choose_places
from analysis.placement.fit.parameters import offsets_with, pair_levels
from analysis.placement.fit.room_fit import MeasuredPlace, fit_room
from analysis.placement.monte_carlo import draw_rooms
from analysis.placement.places import allowed_places
from analysis.placement.response.room_response import RoomModel, room_model
from analysis.plots.placement import MARK, fit_figure, map_figure, plan_figure
from analysis.room.floor_plan import Footprint, rectangle
from analysis.room.room import Loudspeaker, Point, Positions, Room

SPACE = Room(plan=rectangle(width_m=4.0, length_m=5.0), height_m=2.5)
POSITIONS = Positions(
    left=Loudspeaker(tweeter=Point(x_m=1.1, y_m=0.8, z_m=0.6)),
    right=Loudspeaker(tweeter=Point(x_m=2.9, y_m=0.8, z_m=0.6)),
    seat=Point(x_m=2.0, y_m=2.6, z_m=1.1),
)
FURNITURE = Footprint(x_m=(3.2, 3.9), y_m=(3.5, 4.9))


@pytest.fixture(scope="module")
def model() -> RoomModel:
    return room_model(SPACE, 300, speed_of_sound_m_s=343.0)


@pytest.fixture(scope="module")
def placement(model: RoomModel) -> Placement:
    places = allowed_places(
        SPACE,
        POSITIONS,
        front_m=np.arange(0.3, 1.5, 0.1),
        spread_m=np.array([0.9]),
        seat_m=np.array([2.4, 2.6]),
    )
    rng = np.random.default_rng(1)
    return choose_places(model, places, rng=rng, rooms=draw_rooms(model, rng, n_draws=6))


def readings(model: RoomModel) -> list[MeasuredPlace]:
    """Return two readings of a lossier room, 12 dB louder, the last band not covered."""
    truth = offsets_with(side_loss=0.6, floor_loss=0.4, gain_db=12.0)
    found = []
    for front_m in (0.5, 1.0):
        left, right = np.array([1.1, front_m, 0.6]), np.array([2.9, front_m, 0.6])
        seat = np.array([2.0, 2.6, 1.1])
        levels = pair_levels(model, left[None], right[None], seat[None], truth)
        sides = levels.left_db[:, 0].copy(), levels.right_db[:, 0].copy()
        for side in sides:
            side[-1] = np.nan
        found.append(
            MeasuredPlace(
                left_m=left, right_m=right, seat_m=seat, left_db=sides[0], right_db=sides[1]
            )
        )
    return found


def test_the_map_obeys_the_rules(
    model: RoomModel, placement: Placement, check_figure: Callable[[Figure], None]
) -> None:
    figure = map_figure(model, placement, POSITIONS)
    bar = figure.axes[2]
    assert bar.get_title(loc="left") == "dB"
    bar.yaxis.set_ticks([0.0], labels=[""])  # a colour bar has no second axis to name
    check_figure(figure)


def test_the_map_marks_modes_where_they_are(model: RoomModel, placement: Placement) -> None:
    # Closed form: both sides play, so only modes that are even across the width have ticks:
    # c/2 times the root of (m / 4)² + (n / 5)² with an even m.
    ax = map_figure(model, placement, POSITIONS).axes[0]
    ticks = sorted(
        float(line.get_xdata()[0])  # type: ignore[index, arg-type]
        for line in ax.get_lines()
        if len(line.get_xdata()) == 2 and line.get_ydata()[1] == 0.035  # type: ignore[arg-type, index]
    )
    even = [171.5 * np.hypot(m / 4, n / 5) for m in (0, 2, 4) for n in range(7)]
    assert ticks
    for at_hz in ticks:
        assert min(abs(at_hz - one) for one in even) < 0.05


def test_the_map_marks_where_the_front_wall_cancels(model: RoomModel, placement: Placement) -> None:
    # Closed form: half a wavelength is what the path by the mirror image is longer.
    ax = map_figure(model, placement, POSITIONS).axes[0]
    dotted = next(line for line in ax.get_lines() if line.get_linestyle() == ":")
    seat_m = placement.choices[0].seat_m
    for at_hz, front_m in zip(dotted.get_xdata(), dotted.get_ydata(), strict=True):  # type: ignore[arg-type]
        aside = np.hypot(0.9, 0.5)
        longer_m = np.hypot(aside, seat_m + front_m) - np.hypot(aside, seat_m - front_m)
        assert at_hz == pytest.approx(343.0 / 2 / longer_m, rel=1e-6)


def test_the_advised_interval_is_in_the_map(model: RoomModel, placement: Placement) -> None:
    # Invariant: the shaded span is the choice's interval, a centimetre wider on each side.
    ax = map_figure(model, placement, POSITIONS).axes[1]
    span = next(patch for patch in ax.patches if patch.get_label() == "advised")
    box = span.get_path().get_extents(span.get_patch_transform())
    low, high = placement.choices[0].interval_m
    assert (box.x0, box.x1) == pytest.approx((low - 0.01, high + 0.01))


def test_the_plan_shows_each_choice(
    placement: Placement, check_figure: Callable[[Figure], None]
) -> None:
    # Invariant: one row of marks a choice, at the places themselves, no two shapes alike.
    figure = plan_figure(SPACE, placement, furniture=(FURNITURE,))
    check_figure(figure)
    marks = [line for line in figure.axes[0].get_lines() if line.get_linestyle() == "None"]
    assert len(marks) == len(placement.choices)
    assert len({line.get_marker() for line in marks}) == len(marks)
    for line, choice in zip(marks, placement.choices, strict=True):
        expected = [2 - choice.half_spread_m, 2 + choice.half_spread_m, 2.0]
        np.testing.assert_allclose(line.get_xdata(), expected)  # type: ignore[arg-type]
        expected = [choice.front_wall_m, choice.front_wall_m, choice.seat_m]
        np.testing.assert_allclose(line.get_ydata(), expected)  # type: ignore[arg-type]


def test_predicted_lies_over_measured(
    model: RoomModel, check_figure: Callable[[Figure], None]
) -> None:
    # Known input: the fitted curve runs through what was put in, the unfitted beside it.
    measured = readings(model)
    figure = fit_figure(model, measured, fit_room(model, measured))
    check_figure(figure)
    ax = figure.axes[0]
    lines = {line.get_label(): np.asarray(line.get_ydata(), dtype=float) for line in ax.get_lines()}
    off = {name: lines[name] - lines["measured"] for name in ("unfitted", "fitted")}
    error = {name: float(np.nanstd(value)) for name, value in off.items()}
    assert error["fitted"] < 0.5 * error["unfitted"]


def test_curves_differ_without_colour(model: RoomModel) -> None:
    # Invariant: the three have line styles of their own, so that a grey print tells them.
    measured = readings(model)
    ax = fit_figure(model, measured, fit_room(model, measured)).axes[0]
    named = [line for line in ax.get_lines() if not str(line.get_label()).startswith("_")]
    assert len({line.get_linestyle() for line in named}) == len(named) == 3
    red, green, blue = to_rgb(MARK)
    assert 0.3 * red + 0.59 * green + 0.11 * blue < 0.35
