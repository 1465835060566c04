"""Rooms drawn within what file or fit leave open."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis.placement.fit.parameters import NAMES, loudspeaker_db, offsets_with
from analysis.placement.fit.room_fit import RoomFit
from analysis.placement.monte_carlo import STATED_STD, UNKNOWN_STD, draw_rooms, likeliest_offsets
from analysis.placement.response.room_response import RoomModel, room_model
from analysis.room.floor_plan import rectangle
from analysis.room.room import Room

SPACE = Room(plan=rectangle(width_m=4.0, length_m=5.0), height_m=2.5, absorption={"floor": 0.1})


@pytest.fixture(scope="module")
def model() -> RoomModel:
    return room_model(SPACE, 100, speed_of_sound_m_s=343.0)


def fit_of(offsets: np.ndarray, *, kept: bool) -> RoomFit:
    return RoomFit(
        offsets=offsets,
        offsets_std=np.full(offsets.size, 1e-3),
        covariance=1e-6 * np.eye(offsets.size),
        n_readings=2,
        kept=kept,
        timing=False,
        before_db=2.0,
        after_db=1.0,
        left_out_before_db=2.0,
        left_out_db=1.0 if kept else 3.0,
        undecided=(),
        inseparable=(),
        band_error_db=np.ones(19),
        trusted=np.ones(19),
    )


def test_each_surface_is_drawn_by_itself(model: RoomModel) -> None:
    # Closed form: log losses are normal, of the stated sigmas, and uncorrelated.
    rooms = draw_rooms(model, np.random.default_rng(3), n_draws=800)
    off = np.log([one.model.room.admittances() for one in rooms]) - np.log(SPACE.admittances())
    std = [STATED_STD if name == "floor" else UNKNOWN_STD for name in SPACE.surfaces]
    # Admittances end where an absorption of 0.99 does: a few draws of the widest.
    np.testing.assert_allclose(off.std(axis=0), std, rtol=0.1)
    np.testing.assert_allclose(np.corrcoef(off.T) - np.eye(6), 0, atol=0.15)
    np.testing.assert_allclose(off.mean(axis=0), 0, atol=0.1)


def test_unless_told_the_loudspeakers_are_flat(model: RoomModel) -> None:
    # Known input: flat within the lowest band, or 3 dB down where that was told.
    flat = loudspeaker_db(likeliest_offsets())
    assert np.ptp(flat) < 0.1
    told = likeliest_offsets(lower_end_hz=50.0)
    at_50 = loudspeaker_db(told)[np.argmin(np.abs(np.log(_frequency() / 50)))]
    assert at_50 == pytest.approx(-3.0, abs=0.15)
    for room in draw_rooms(model, np.random.default_rng(3), lower_end_hz=50.0, n_draws=3):
        np.testing.assert_allclose(loudspeaker_db(room.offsets), loudspeaker_db(told))


def test_a_fit_that_is_kept_is_drawn_within_its_own_uncertainty(model: RoomModel) -> None:
    # Known input.
    offsets = offsets_with(length_scale=0.01, side_loss=0.3, roll_off=0.2)
    kept = draw_rooms(model, np.random.default_rng(3), fit=fit_of(offsets, kept=True), n_draws=5)
    for room in kept:
        assert room.model is model
        np.testing.assert_allclose(room.offsets, offsets, atol=6e-3)
    np.testing.assert_array_equal(likeliest_offsets(fit_of(offsets, kept=True)), offsets)


def test_a_fit_that_isn_t_kept_leaves_the_file_s_room(model: RoomModel) -> None:
    # Invariant: the same as without a reading.
    fit = fit_of(offsets_with(gain_db=12.0), kept=False)
    one, other = (
        draw_rooms(model, np.random.default_rng(3), fit=given, n_draws=4) for given in (fit, None)
    )
    for first, second in zip(one, other, strict=True):
        np.testing.assert_array_equal(first.offsets, second.offsets)
        assert first.model.room == second.model.room
    np.testing.assert_array_equal(likeliest_offsets(fit), likeliest_offsets())


def test_no_draw_is_refused(model: RoomModel) -> None:
    with pytest.raises(ValueError, match="n_draws 0"):
        draw_rooms(model, np.random.default_rng(3), n_draws=0)


def test_the_modes_are_shared(model: RoomModel) -> None:
    # Invariant: only losses differ, so no mode is sought anew.
    (room,) = draw_rooms(model, np.random.default_rng(3), n_draws=1)
    assert room.model.flat is model.flat
    assert replace(room.model.room, absorption=SPACE.absorption) == SPACE
    assert room.offsets.shape == (len(NAMES),)


def _frequency() -> np.ndarray:
    from analysis.placement.band_levels import FREQUENCY_HZ

    return FREQUENCY_HZ
