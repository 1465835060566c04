"""Places, terms, choices, the fit and the walk, on small rooms."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.placement.band_levels import (
    CENTRES_HZ,
    band_levels_db,
    curve_band_levels_db,
    deviations_from_line_db,
)
from analysis.placement.choice import Placement, choose_places
from analysis.placement.fit.parameters import PairLevels, offsets_with
from analysis.placement.measurement_plan import expected_regret_db, plan_measurements
from analysis.placement.monte_carlo import DrawnRoom, draw_rooms
from analysis.placement.objective import objective_terms
from analysis.placement.places import Places, allowed_places, current_distances_m, default_ranges_m
from analysis.placement.response.room_response import RoomModel, room_model
from analysis.room.floor_plan import Footprint, rectangle
from analysis.room.room import Loudspeaker, Point, Positions, Room

SPACE = Room(plan=rectangle(width_m=4.0, length_m=5.0), height_m=2.5)
POSITIONS = Positions(
    left=Loudspeaker(tweeter=Point(x_m=1.1, y_m=0.8, z_m=1.0), woofer_z_m=0.6),
    right=Loudspeaker(tweeter=Point(x_m=2.9, y_m=0.8, z_m=1.0), woofer_z_m=0.6),
    seat=Point(x_m=2.0, y_m=2.6, z_m=1.1),
)


@pytest.fixture(scope="module")
def model() -> RoomModel:
    return room_model(SPACE, 300, speed_of_sound_m_s=343.0)


@pytest.fixture(scope="module")
def places() -> Places:
    return allowed_places(
        SPACE,
        POSITIONS,
        front_m=np.arange(0.3, 1.5, 0.1),
        spread_m=np.array([0.8, 0.9, 1.0]),
        seat_m=np.array([2.4, 2.6, 2.8]),
    )


@pytest.fixture(scope="module")
def rooms(model: RoomModel) -> tuple[DrawnRoom, ...]:
    return draw_rooms(model, np.random.default_rng(1), n_draws=12)


@pytest.fixture(scope="module")
def placement(model: RoomModel, places: Places, rooms: tuple[DrawnRoom, ...]) -> Placement:
    return choose_places(model, places, rng=np.random.default_rng(1), rooms=rooms)


def test_a_falling_line_is_even_and_a_rising_one_is_not() -> None:
    # Closed form: -2 dB an octave lies within the slopes allowed, +2 dB doesn't.
    octave = np.log2(CENTRES_HZ / 70)
    np.testing.assert_allclose(deviations_from_line_db(60 - 2 * octave), 0, atol=1e-9)
    rising = deviations_from_line_db(60 + 2 * octave)
    np.testing.assert_allclose(rising, 2 * (octave - octave.mean()), atol=1e-9)


def test_bands_of_a_flat_curve_and_of_one_that_ends_early() -> None:
    # Known input.
    frequency_hz = np.arange(15.0, 150, 0.25)
    found = curve_band_levels_db(frequency_hz, np.full(frequency_hz.size, 7.0))
    np.testing.assert_allclose(found[:14], 7.0)
    assert np.isnan(found[-1])
    np.testing.assert_allclose(band_levels_db(np.ones((152, 2))), 0)


def test_places_keep_clear_and_make_a_triangle(places: Places) -> None:
    # Invariant: equal offsets, angles, clearances; furniture takes places away.
    np.testing.assert_allclose(places.left_m[:, 0] + places.right_m[:, 0], 4.0)
    angle = 2 * np.degrees(np.arctan2(places.half_spread_m, places.seat_m - places.front_wall_m))
    assert angle.min() >= 40
    assert angle.max() <= 70
    fewer = allowed_places(
        SPACE,
        POSITIONS,
        front_m=np.array([0.4, 1.0]),
        spread_m=np.array([0.9]),
        seat_m=np.array([2.6]),
        furniture=(Footprint(x_m=(0.9, 1.3), y_m=(0.8, 1.2)),),
    )
    assert fewer.front_wall_m.tolist() == [0.4]
    # Two places, both too near the front wall, one at too small an angle.
    said = r"of 2 .* by 'loudspeakers 0\.3 m from walls.*' \(2\), others by '40 to 70 .*' \(1\)"
    with pytest.raises(ValueError, match=said):
        allowed_places(
            SPACE,
            POSITIONS,
            front_m=np.array([0.1]),
            spread_m=np.array([0.8, 1.1]),
            seat_m=np.array([2.6]),
        )


def test_today_and_the_derived_ranges() -> None:
    # Known input.
    assert current_distances_m(SPACE, POSITIONS) == pytest.approx((0.8, 0.9, 2.6))
    front, spread, seat = default_ranges_m(SPACE, POSITIONS)
    assert (front[0], front[-1]) == pytest.approx((0.3, 2.0))
    assert 0.9 in spread
    assert 2.6 in seat


def test_the_terms_of_a_flat_place_with_one_dip(places: Places) -> None:
    # Known input: a dip of 10 dB in one band, left 3 dB louder.
    level = np.zeros((19, places.n_places))
    level[6] = -10.0
    found = objective_terms(
        PairLevels(left_db=level + 3, right_db=level, both_db=level), places, SPACE
    )
    assert found.worst_dip_hz[0] == pytest.approx(50)
    assert found.worst_dip_db[0] == pytest.approx(-10, abs=1.2)
    np.testing.assert_allclose(found.likeness_db, 3)
    trusted = np.ones(19)
    trusted[6] = 0
    blind = objective_terms(
        PairLevels(left_db=level + 3, right_db=level, both_db=level), places, SPACE, trusted=trusted
    )
    np.testing.assert_allclose(blind.evenness_db, 0, atol=1e-9)


def test_the_evenest_choice_is_the_evenest_and_stronger_ones_are_stronger(
    placement: Placement,
) -> None:
    # Invariant.
    first, *others = placement.choices
    assert first.evenness_db == placement.evenness_db.min()
    assert first.interval_m[0] <= first.front_wall_m <= first.interval_m[1]
    assert 0 <= first.holds_percent <= 100
    for one in others:
        if one.name == "stronger":
            assert one.strength_db >= first.strength_db + 1
            assert placement.pareto[one.index]


def test_the_walk_plans_few_stops_and_each_is_worth_more(
    model: RoomModel, places: Places, rooms: tuple[DrawnRoom, ...], placement: Placement
) -> None:
    # Invariant: a further reading takes nothing away; what is known already is worth nothing.
    stops = plan_measurements(placement, rooms)
    worths = [one.worth_db for one in stops]
    assert 2 <= len(stops) <= 5
    assert worths == sorted(worths)
    assert worths[0] >= 0
    assert expected_regret_db(placement) >= 0
    known = choose_places(model, places, rng=np.random.default_rng(1), rooms=rooms[:1] * 4)
    assert plan_measurements(known, rooms[:1] * 4, n_fewest=0) == ()


def test_the_recordings_gain_is_no_strength(model: RoomModel, places: Places) -> None:
    # Invariant: a louder recording changes no term.
    louder = offsets_with(gain_db=20.0)
    one, other = (
        choose_places(
            model,
            places,
            rng=np.random.default_rng(1),
            offsets=offsets,
            rooms=[DrawnRoom(model=model, offsets=offsets)],
        )
        for offsets in (offsets_with(), louder)
    )
    np.testing.assert_allclose(one.strength_db, other.strength_db)
    np.testing.assert_allclose(one.evenness_db, other.evenness_db)
