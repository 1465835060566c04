"""The fit of a room to readings: what was put in, what can't be told, when it isn't kept."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis.placement.band_levels import band_coherence
from analysis.placement.fit.band_fit import BandFit
from analysis.placement.fit.parameters import (
    NAMES,
    PRIOR_STD,
    losses_with,
    offsets_with,
    pair_levels,
    pair_pressure,
    scale_with,
    share_across_length,
)
from analysis.placement.fit.room_fit import MeasuredPlace, fit_room
from analysis.placement.response.room_response import RoomModel, losses_of, room_model
from analysis.room.floor_plan import FloorPlan, rectangle
from analysis.room.room import Room

ROOM = Room(plan=rectangle(width_m=4.0, length_m=5.0), height_m=2.5)


@pytest.fixture(scope="module")
def model() -> RoomModel:
    return room_model(ROOM, 300, speed_of_sound_m_s=343.0)


def readings(
    model: RoomModel, truth: np.ndarray, noise_db: float, *, right_x_m: float = 2.9
) -> list[MeasuredPlace]:
    """Return five readings of a pair that was moved from the wall, in a room of known truth."""
    rng = np.random.default_rng(2)
    found = []
    for front_m in (0.4, 0.65, 0.9, 1.15, 1.4):
        left, right = np.array([1.1, front_m, 0.6]), np.array([right_x_m, front_m, 0.6])
        seat = np.array([2.0, 2.6, 1.1])
        levels = pair_levels(model, left[None], right[None], seat[None], truth)
        noise = noise_db * rng.standard_normal((2, 19))
        found.append(
            MeasuredPlace(
                left_m=left,
                right_m=right,
                seat_m=seat,
                left_db=levels.left_db[:, 0] + noise[0],
                right_db=levels.right_db[:, 0] + noise[1],
            )
        )
    return found


def test_the_fit_finds_what_was_put_in(model: RoomModel) -> None:
    # Known input: size, losses, gain and roll-off; noise of 0.5 dB.
    truth = offsets_with(
        length_scale=0.008,
        width_scale=-0.007,
        height_scale=-0.006,
        front_and_rear_loss=0.5,
        side_loss=-0.4,
        floor_loss=-0.3,
        ceiling_loss=-0.3,
        loss_slope=0.2,
        gain_db=12.0,
        tilt_db_per_octave=0.4,
        roll_off=0.2,
    )
    fit = fit_room(model, readings(model, truth, 0.5))
    assert fit.kept
    assert fit.after_db < 0.8 < fit.before_db
    assert fit.left_out_db is not None
    assert fit.left_out_db < 1.2
    assert np.all(np.abs(fit.offsets - truth) < 4 * fit.offsets_std)
    np.testing.assert_allclose(fit.offsets[:2], truth[:2], atol=0.003)
    assert fit.trusted.sum() == 19


def test_noise_alone_doesn_t_replace_the_room(model: RoomModel) -> None:
    # Known input: the unfitted room with errors that no model has: not fitted, not trusted.
    fit = fit_room(model, readings(model, offsets_with(), 9.0))
    assert fit.left_out_db is not None
    assert fit.left_out_before_db is not None
    assert fit.kept == (fit.left_out_db < fit.left_out_before_db)
    assert np.all(fit.band_error_db > 3)


def test_one_reading_predicts_nothing(model: RoomModel) -> None:
    # Invariant: without a second reading the unfitted room is kept.
    fit = fit_room(model, readings(model, offsets_with(), 0.5)[:1])
    assert (fit.kept, fit.left_out_db) == (False, None)
    with pytest.raises(ValueError, match="at least one"):
        fit_room(model, [])


def test_slopes_of_the_residuals_are_those_of_a_wider_step(model: RoomModel) -> None:
    # Second method: central differences ten times as wide.
    measured = readings(model, offsets_with(), 0.0)
    levels = np.stack([np.stack([one.left_db, one.right_db]) for one in measured], axis=2)
    places = [np.stack([getattr(one, n) for one in measured]) for n in ("left_m", "right_m")]
    problem = BandFit(model, *places, np.stack([one.seat_m for one in measured]), levels)
    at = offsets_with(length_scale=0.002, side_loss=0.2, roll_off=0.1)
    slopes = problem._jacobian(at / PRIOR_STD).reshape(2, 19, 5, -1)
    for k, std in enumerate(PRIOR_STD):
        step = np.zeros(len(NAMES))
        step[k] = 0.05 * std
        wide = (problem.residual_db(at + step) - problem.residual_db(at - step)) / (0.1 * 2.0)
        assert np.sqrt(np.mean((slopes[..., k] - wide) ** 2)) < 0.06 * np.sqrt(np.mean(wide**2)), (
            NAMES[k]
        )


def test_the_losses_of_floor_and_ceiling_are_known_only_together(model: RoomModel) -> None:
    # Closed form: under a level ceiling every mode weighs both alike.
    fit = fit_room(model, readings(model, offsets_with(floor_loss=0.5, ceiling_loss=0.5), 0.3))
    assert fit.kept
    assert ("floor_loss", "ceiling_loss") in fit.inseparable
    assert {"floor_loss", "ceiling_loss"} <= set(fit.undecided)
    alike = [NAMES.index(name) for name in ("floor_loss", "ceiling_loss")]
    np.testing.assert_allclose(*fit.offsets[alike], atol=0.01)
    together = fit.covariance[np.ix_(alike, alike)].sum() / 4
    assert fit.offsets[alike].mean() == pytest.approx(0.5, abs=3 * np.sqrt(together))
    assert np.sqrt(together) < 0.5 * 0.5


def test_losses_of_front_and_rear_are_told_from_those_of_the_sides(model: RoomModel) -> None:
    # Known input: one pair of walls lossier, the other less; neither is taken for the other.
    truth = offsets_with(front_and_rear_loss=-0.5, side_loss=0.6)
    fit = fit_room(model, readings(model, truth, 0.3))
    found = dict(zip(NAMES, fit.offsets, strict=True))
    assert found["side_loss"] - found["front_and_rear_loss"] > 0.5
    assert ("front_and_rear_loss", "side_loss") not in fit.inseparable


def test_a_wall_at_an_angle_counts_to_both_directions() -> None:
    # Closed form: 45 degrees is half of each; along the axes it is one of them.
    plan = FloorPlan(corners_m=((0, 0), (4, 0), (4, 4), (3, 5), (0, 5)))
    np.testing.assert_allclose(share_across_length(plan), [1, 0, 0.5, 1, 0], atol=1e-12)
    room = Room(plan=plan, height_m=2.5)
    slanted = room_model(room, 60, speed_of_sound_m_s=343.0)
    given = losses_with(slanted, offsets_with(front_and_rear_loss=0.4, ceiling_loss=-0.2))
    factor = np.array(given.admittance) / np.array(losses_of(room).admittance)
    np.testing.assert_allclose(np.log(factor), [0.4, 0, 0.2, 0.4, 0, 0, -0.2], atol=1e-12)


def test_scales_are_of_width_length_and_height() -> None:
    # Known input, in the order x, y, z.
    offsets = offsets_with(length_scale=0.01, width_scale=0.02, height_scale=-0.01)
    np.testing.assert_allclose(np.log(scale_with(offsets)), [0.02, 0.01, -0.01])
    with pytest.raises(ValueError, match="plan_scale"):
        offsets_with(plan_scale=0.01)


def test_the_uncertainties_are_honest(model: RoomModel) -> None:
    # Known input: rooms drawn from the prior; of what the fit states as one sigma, the
    # errors are at most as large in rms, and not idly small.
    rng = np.random.default_rng(7)
    ratios = []
    for _ in range(4):
        truth = np.clip(rng.standard_normal(len(NAMES)), -2, 2) * PRIOR_STD
        truth[NAMES.index("gain_db")] = 5.0
        fit = fit_room(model, readings(model, truth, 1.0)[::2])
        ratios.append((fit.offsets - truth)[fit.offsets_std > 0] / fit.offsets_std)
    assert 0.2 < np.sqrt(np.mean(np.square(ratios))) < 1.3


def test_readings_that_contradict_the_room_leave_nothing_to_trust(model: RoomModel) -> None:
    # Known input: levels off by 9 dB at random.
    fit = fit_room(model, readings(model, offsets_with(), 9.0))
    assert fit.contradicted
    assert not fit_room(model, readings(model, offsets_with(), 0.5)).contradicted


def test_a_reading_without_bands_is_left_out(model: RoomModel) -> None:
    # Invariant: what covers nothing changes nothing.
    three = readings(model, offsets_with(side_loss=0.4), 0.5)[:3]
    nothing = np.full(19, np.nan)
    empty = MeasuredPlace(
        left_m=three[0].left_m,
        right_m=three[0].right_m,
        seat_m=three[0].seat_m,
        left_db=nothing,
        right_db=nothing,
    )
    one, other = fit_room(model, three), fit_room(model, [*three, empty])
    assert other.n_readings == 3
    np.testing.assert_allclose(one.offsets, other.offsets)
    with pytest.raises(ValueError, match="no reading covers"):
        fit_room(model, [empty])


def test_a_band_that_part_of_the_readings_lack_is_fitted_by_the_rest(model: RoomModel) -> None:
    # Known input: two readings have nothing below 50 Hz.
    given = readings(model, offsets_with(length_scale=0.006), 0.5)
    for one in given[:2]:
        one.left_db[:6] = np.nan
    fit = fit_room(model, given)
    assert fit.kept
    assert fit.offsets[0] == pytest.approx(0.006, abs=3 * fit.offsets_std[0])
    assert np.isfinite(fit.after_db)


def with_cross(
    model: RoomModel, truth: np.ndarray, given: list[MeasuredPlace], *, turn: complex = 1
) -> list[MeasuredPlace]:
    """Return readings that hold the timing of left and right, each phase turned."""
    found = []
    for one in given:
        places = (one.left_m[None], one.right_m[None], one.seat_m[None])
        left, right = pair_pressure(model, *places, truth)
        found.append(replace(one, coherence=turn * band_coherence(left, right)[:, 0]))
    return found


def test_timing_that_fits_narrows_the_room(model: RoomModel) -> None:
    # Known input: a lopsided pair in a room of known size.
    truth = offsets_with(length_scale=0.006, width_scale=-0.006, side_loss=0.4)
    given = readings(model, truth, 1.0, right_x_m=2.2)
    plain = fit_room(model, given)
    timed = fit_room(model, with_cross(model, truth, given))
    assert plain.kept
    assert not plain.timing
    assert timed.timing
    assert np.all(timed.offsets_std[:2] < plain.offsets_std[:2])
    assert np.all(np.abs(timed.offsets - truth)[:2] < 3 * timed.offsets_std[:2])


def test_timing_that_contradicts_the_levels_is_left_out(model: RoomModel) -> None:
    # Known input: one loudspeaker's phase turned by half a circle.
    truth = offsets_with(length_scale=0.006, width_scale=-0.006, side_loss=0.4)
    given = readings(model, truth, 0.3, right_x_m=2.2)
    plain = fit_room(model, given)
    wrong = fit_room(model, with_cross(model, truth, given, turn=-1))
    assert not wrong.timing
    np.testing.assert_allclose(wrong.offsets, plain.offsets, atol=1e-9)
