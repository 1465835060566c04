"""What changed between two readings of one room: before and after a move.

Conventions: a change is after less before; left minus right as everywhere; ``_std_`` is one
sigma and a change counts where it exceeds two. A change common to both loudspeakers is
gain, a knob and not the room: it is found first and taken out, and appears nowhere else.

The two recordings share no clock and no latency, so the arrival of one loudspeaker alone
says nothing; which one moved is told from the early reflections, or by the user.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final, get_args

from analysis.basics.uncertainty import COVERAGE_FACTOR
from analysis.bass.causes.cause import Cause
from analysis.bass.curve import BassCurve, bass_curve
from analysis.bass.features import Feature
from analysis.comparison.common_gain import CommonGain, common_gain, side_change
from analysis.comparison.feature_changes import (
    CurvePair,
    Displacement,
    FeatureChange,
    feature_changes,
)
from analysis.comparison.moved import Moved, infer_moved, residual_db
from analysis.room.prediction import CURVES, Curve
from analysis.room.room import Positions
from analysis.signals.impulse_response import ImpulseResponse

SPEED_OF_SOUND_M_S: Final = 343.2
"""Dry air at 20 degrees; taken where a snapshot doesn't say."""

LEVEL_STD_DB: Final = 0.1
"""One sigma of what else changes a level difference between two recordings: a microphone
put back by hand, a warm voice coil. Common practice, no source."""

NOISE_S: Final = 0.5
"""A stretch of noise must be so long for the bass."""

LATE_SHARE: Final = 1 / 3
"""Where a response comes without noise, its last part is taken for it: if the room still
rings there, the noise is overstated and less is claimed."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Snapshot:
    """What of one reading is compared.

    Attributes
    ----------
    left, right : ImpulseResponse or None
        On their common axis; the noise may be empty.
    arrival_m, arrival_std_m, arrival_in_room_std_m : float or None
        Left minus right, and its one sigma without and with draughts and the microphone's
        place.
    direct_db, direct_std_db : float or None
        Left minus right of the direct sound's level.
    seat_db, seat_std_db : float or None
        The same of the steady state.
    features : mapping of str to tuple of Feature
        Of the curves ``left``, ``right`` and ``both``; those that weren't heard left out.
    positions : Positions or None
        Where everything stood, if known.
    recorded_level_dbfs : float or None
        RMS of the sweeps in the recording.
    causes : mapping of str to tuple of Cause or None
        Of each curve's features the likeliest cause, where the room was known.
    """

    left: ImpulseResponse | None
    right: ImpulseResponse | None
    arrival_m: float | None = None
    arrival_std_m: float | None = None
    arrival_in_room_std_m: float | None = None
    direct_db: float | None = None
    direct_std_db: float | None = None
    seat_db: float | None = None
    seat_std_db: float | None = None
    features: Mapping[Curve, tuple[Feature, ...]]
    positions: Positions | None = None
    recorded_level_dbfs: float | None = None
    speed_of_sound_m_s: float = SPEED_OF_SOUND_M_S
    causes: Mapping[Curve, tuple[Cause | None, ...]] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True, slots=True)
class ValueChange:
    """A number before and after.

    Attributes
    ----------
    std : float
        One sigma of the change that the two recordings support.
    counted_std : float
        The one that decides: with what may have changed between the recordings.
    """

    before: float
    after: float
    change: float
    std: float
    counted_std: float

    @property
    def beyond_uncertainty(self) -> bool:
        """Whether the change exceeds two sigma."""
        return abs(self.change) > COVERAGE_FACTOR * self.counted_std


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Comparison:
    """What changed.

    Attributes
    ----------
    gain : CommonGain
        What both loudspeakers' level changed by alike, taken out of everything else.
    arrival : ValueChange or None
        In metres. `std` holds if the microphone stayed untouched, `counted_std` if it was
        put back by hand.
    direct, seat : ValueChange or None
        Level, left minus right, in dB.
    features : tuple of FeatureChange
        Curve by curve, each by rising frequency.
    curves : mapping of str to (BassCurve, BassCurve)
        Before and after, the gain still in.
    move : Displacement
        What was moved.
    move_is_given : bool
        Whether the user said so; else it was inferred.
    contradiction : tuple of ("left" or "right") or None
        Which loudspeaker the user said and which one's early reflections changed, where
        these differ; `move` is then unknown.
    """

    gain: CommonGain
    arrival: ValueChange | None
    direct: ValueChange | None
    seat: ValueChange | None
    features: tuple[FeatureChange, ...]
    curves: Mapping[Curve, tuple[BassCurve, BassCurve]]
    move: Displacement
    move_is_given: bool
    contradiction: tuple[Moved, Moved] | None = None


def compare(before: Snapshot, after: Snapshot, *, moved: Moved = "unknown") -> Comparison:
    """Return what changed from one reading to another.

    Parameters
    ----------
    before, after : Snapshot
        Of one room and one sampling frequency.
    moved : {"left", "right", "both", "none", "seat", "unknown"}
        What the user moved; if unknown it is inferred.

    Raises
    ------
    ValueError
        If `moved` is another word, or the sampling frequencies differ.
    """
    if moved not in get_args(Moved):
        msg = f"moved {moved!r} must be one of {', '.join(get_args(Moved))}"
        raise ValueError(msg)
    before, after = ensure_noise(before), ensure_noise(after)
    _check_rates(before, after)
    sides = {name: _response_pair(before, after, name) for name in CURVES[:2]}
    arrival = _value_change(
        (before.arrival_m, after.arrival_m),
        (before.arrival_std_m, after.arrival_std_m),
        (before.arrival_in_room_std_m, after.arrival_in_room_std_m),
    )
    heard = _infer_from_reflections(sides)
    contradiction = (moved, heard) if {moved, heard} == {"left", "right"} else None
    what = _settle_move(moved, heard)
    move = Displacement(
        moved=what,
        distance_m=_moved_distance_m(before, after, what, arrival),
        speed_of_sound_m_s=after.speed_of_sound_m_s,
    )
    gain = common_gain(*(None if pair is None else side_change(*pair) for pair in sides.values()))
    curves = _bass_curves(sides)
    return Comparison(
        gain=gain,
        arrival=arrival,
        direct=_level_change(
            before.direct_db, after.direct_db, before.direct_std_db, after.direct_std_db
        ),
        seat=_level_change(before.seat_db, after.seat_db, before.seat_std_db, after.seat_std_db),
        features=_changes_of_all_features(before, after, curves, gain, move),
        curves=curves,
        move=move,
        move_is_given=moved != "unknown" and contradiction is None,
        contradiction=contradiction,
    )


_Pair = tuple[ImpulseResponse, ImpulseResponse]


def ensure_noise(snapshot: Snapshot) -> Snapshot:
    """Return a snapshot whose responses carry a usable stretch of noise."""
    return replace(
        snapshot,
        left=_response_with_noise(snapshot.left),
        right=_response_with_noise(snapshot.right),
    )


def _response_with_noise(response: ImpulseResponse | None) -> ImpulseResponse | None:
    """Return a response with noise; the last part of it where none came with it."""
    if response is None or response.noise.size >= NOISE_S * response.sample_rate_hz:
        return response
    n_late = round(max(LATE_SHARE * response.samples.size, NOISE_S * response.sample_rate_hz))
    return replace(response, noise=response.samples[-min(n_late, response.samples.size // 2) :])


def _check_rates(before: Snapshot, after: Snapshot) -> None:
    """Refuse responses of different sampling frequencies."""
    responses = (before.left, before.right, after.left, after.right)
    rates = sorted({one.sample_rate_hz for one in responses if one is not None})
    if len(rates) > 1:
        msg = f"sampling frequencies {rates} Hz must be one: record both alike"
        raise ValueError(msg)


def _response_pair(before: Snapshot, after: Snapshot, name: str) -> _Pair | None:
    """Return one loudspeaker's response before and after, if both are there."""
    first, second = getattr(before, name), getattr(after, name)
    return None if first is None or second is None else (first, second)


def _settle_move(told: Moved, heard: Moved) -> Moved:
    """Return what was moved, from what the user and what the early reflections say."""
    if told == "unknown":
        return heard
    return "unknown" if {told, heard} == {"left", "right"} else told


def _infer_from_reflections(sides: Mapping[Curve, _Pair | None]) -> Moved:
    """Return which loudspeaker moved, by the early reflections."""
    left, right = sides["left"], sides["right"]
    if left is None or right is None:
        return "unknown"
    return infer_moved(residual_db(*left), residual_db(*right))


def _bass_curves(sides: Mapping[Curve, _Pair | None]) -> dict[Curve, tuple[BassCurve, BassCurve]]:
    """Return the bass curves before and after of what was heard both times."""
    curves: dict[Curve, tuple[BassCurve, BassCurve]] = {
        name: (bass_curve(pair[0]), bass_curve(pair[1]))
        for name, pair in sides.items()
        if pair is not None
    }
    left, right = sides["left"], sides["right"]
    if left is not None and right is not None:
        curves["both"] = (bass_curve(left[0], right[0]), bass_curve(left[1], right[1]))
    return curves


def _changes_of_all_features(
    before: Snapshot,
    after: Snapshot,
    curves: Mapping[Curve, tuple[BassCurve, BassCurve]],
    gain: CommonGain,
    move: Displacement,
) -> tuple[FeatureChange, ...]:
    """Return what became of the features, curve by curve."""
    return tuple(
        change
        for name, pair in curves.items()
        for change in feature_changes(
            before.features.get(name, ()),
            after.features.get(name, ()),
            curves=_curve_pair(name, pair, gain),
            move=move,
        )
    )


def _curve_pair(name: Curve, curves: tuple[BassCurve, BassCurve], gain: CommonGain) -> CurvePair:
    """Return a curve before and after with what its loudspeaker's level changed by as a whole."""
    named = {"left": (gain.left,), "right": (gain.right,), "both": (gain.left, gain.right)}
    sides = [side for side in named[name] if side is not None]
    n = max(len(sides), 1)
    return CurvePair(
        name=name,
        before=curves[0],
        after=curves[1],
        change_db=sum(side.change_db for side in sides) / n,
        change_std_db=math.hypot(*(side.std_db for side in sides)) / n,
    )


def _value_change(
    values: tuple[float | None, float | None],
    stds: tuple[float | None, float | None],
    counted: tuple[float | None, float | None],
) -> ValueChange | None:
    """Return the change of a number, None where it is missing once."""
    first, second = values
    if first is None or second is None:
        return None
    std = math.hypot(*(value or 0.0 for value in stds))
    return ValueChange(
        before=first,
        after=second,
        change=second - first,
        std=std,
        counted_std=max(std, math.hypot(*(value or 0.0 for value in counted))),
    )


def _level_change(
    before_db: float | None,
    after_db: float | None,
    before_std_db: float | None,
    after_std_db: float | None,
) -> ValueChange | None:
    """Return the change of a level difference."""
    stds = (before_std_db, after_std_db)
    counted = (before_std_db or 0.0, math.hypot(after_std_db or 0.0, LEVEL_STD_DB))
    return _value_change((before_db, after_db), stds, counted)


def _moved_distance_m(
    before: Snapshot, after: Snapshot, moved: Moved, arrival: ValueChange | None
) -> float | None:
    """Return how far the loudspeaker that moved did so, at least."""
    if moved not in ("left", "right"):
        return None
    if before.positions is not None and after.positions is not None:
        places = [getattr(one.positions, moved).woofer for one in (before, after)]
        distance_m: float = places[0].distance_m(places[1])
        if distance_m > 0:
            return distance_m
    return abs(arrival.change) if arrival is not None and arrival.beyond_uncertainty else None
