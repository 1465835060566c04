"""Causes of dips: two modes, or one surface."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.basics.air import air_at
from analysis.bass.causes.dips import causes_of_dips, predicted_dips_hz
from analysis.bass.features import Feature
from analysis.room.prediction import predict
from analysis.room.room import Loudspeaker, Point, Positions, rectangular_room

AIR = air_at()


def _dip(frequency_hz: float) -> Feature:
    return Feature(
        kind="dip",
        frequency_hz=frequency_hz,
        frequency_std_hz=0.1,
        level_db=-6.0,
        prominence_db=6.0,
    )


def test_two_modes_of_like_coupling_cancel_between_them() -> None:
    """Closed form: A1/(f1^2-f^2) + A2/(f2^2-f^2) has a zero between f1 and f2 for like signs.

    In a long narrow room the first two length modes are alone below 43 Hz. A seat in the
    front couples alike to both, one at the rear wall doesn't.
    """
    room = rectangular_room(length_m=8.0, width_m=2.6, height_m=2.3)
    left, right = (Point(x_m=x_m, y_m=0.3, z_m=0.4) for x_m in (0.4, 2.2))
    pair = {"left": Loudspeaker(tweeter=left), "right": Loudspeaker(tweeter=right)}
    causes = []
    for y_m in (1.5, 7.9):
        positions = Positions(**pair, seat=Point(x_m=1.3, y_m=y_m, z_m=1.1))
        prediction = predict(room, positions, AIR, decay_s=0.6)
        dips = predicted_dips_hz(prediction, "both")
        dip_hz = float(dips[(dips > 23) & (dips < 42)][0])
        (found,) = causes_of_dips([_dip(dip_hz)], prediction, "both")
        causes.append(max(found, key=lambda one: one.score, default=None))
    front, rear = causes
    assert front is not None
    assert front.cause == "mode"
    assert {front.indices, front.partner_indices} == {(1, 0, 0), (2, 0, 0)}
    assert front.score > 0.4
    assert rear is None or rear.score < 0.05


def test_predicted_dips_are_minima_of_the_response() -> None:
    """Second method: the prominence-free search of scipy.signal, to the grid's spacing."""
    find_peaks = pytest.importorskip("scipy.signal").find_peaks
    positions = Positions(
        left=Loudspeaker(tweeter=Point(x_m=1.0, y_m=0.7, z_m=0.5)),
        right=Loudspeaker(tweeter=Point(x_m=3.1, y_m=0.7, z_m=0.5)),
        seat=Point(x_m=2.0, y_m=3.3, z_m=1.1),
    )
    room = rectangular_room(length_m=5.2, width_m=4.0, height_m=2.5)
    prediction = predict(room, positions, AIR)
    at, _ = find_peaks(-np.abs(prediction.response["left"]))
    ours = predicted_dips_hz(prediction, "left")
    np.testing.assert_allclose(ours, prediction.frequency_hz[at], atol=0.5)


def test_a_surface_is_listed_once_for_two_loudspeakers() -> None:
    """Invariant: a symmetric pair has each front-wall cancellation twice, and one cause of it."""
    positions = Positions(
        left=Loudspeaker(tweeter=Point(x_m=1.0, y_m=0.7, z_m=0.5)),
        right=Loudspeaker(tweeter=Point(x_m=3.0, y_m=0.7, z_m=0.5)),
        seat=Point(x_m=2.0, y_m=3.3, z_m=1.1),
    )
    room = rectangular_room(length_m=5.2, width_m=4.0, height_m=2.5)
    prediction = predict(room, positions, AIR, decay_s=0.15)
    front = next(one for one in prediction.cancellations["left"] if one.surface == "front")
    (causes,) = causes_of_dips([_dip(front.frequency_hz)], prediction, "both")
    assert [one.surface for one in causes].count("front") == 1
