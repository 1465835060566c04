"""The bass of a pair: curves, features with causes, and the balance.

Conventions: `both` is the complex sum of left and right, what a signal common to both
channels gives. A side that wasn't heard is None, and so is `both` then.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import median

from analysis.bass.balance import BassBalance, bass_balance, worst_features
from analysis.bass.causes.attribution import attribute_causes
from analysis.bass.causes.cause import Cause
from analysis.bass.curve import HIGH_HZ, LOW_HZ, BassCurve, bass_curve
from analysis.bass.decay import add_decays
from analysis.bass.features import Feature, find_features
from analysis.bass.positions import PositionAverage, average_positions, position_features
from analysis.room.prediction import Curve, Prediction
from analysis.signals.impulse_response import ImpulseResponse

HUM_REACH_HZ = 1.0
"""Hum blurs to about the curve's resolution."""

LEAST_SWEPT_HZ = 30.0
"""A curve narrower than this shows no feature against its surroundings."""

FEWEST_DECAYS = 3
"""A median of fewer is one peak's whim."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class ExplainedFeature:
    """A peak or dip and what may have made it.

    Attributes
    ----------
    causes : tuple of Cause
        Ranked, the likeliest first; never empty.
    n_positions_seen : int or None
        At how many microphone positions it is there, the centre among them; None if only the
        centre was measured.
    """

    feature: Feature
    causes: tuple[Cause, ...]
    n_positions_seen: int | None = None

    @property
    def advisable(self) -> bool:
        """Whether advice may rest on it: not if other positions were measured and lack it."""
        return self.n_positions_seen is None or self.n_positions_seen > 1


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class BassSide:
    """The bass of one loudspeaker, or of both.

    Attributes
    ----------
    curve : BassCurve
        At the centre.
    features : tuple of ExplainedFeature
        In order of frequency.
    worst : tuple of ExplainedFeature
        The two that are likely heard most, of those that advice may rest on.
    position_average : PositionAverage or None
        Power mean and spread over the microphone positions.
    """

    curve: BassCurve
    features: tuple[ExplainedFeature, ...]
    worst: tuple[ExplainedFeature, ...]
    balance: BassBalance
    position_average: PositionAverage | None = None


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Bass:
    """The bass at the seat."""

    left: BassSide | None
    right: BassSide | None
    both: BassSide | None

    @property
    def sides(self) -> tuple[tuple[str, BassSide], ...]:
        """Name and side of what was heard."""
        named = (("left", self.left), ("right", self.right), ("both", self.both))
        return tuple((name, side) for name, side in named if side is not None)


def read_bass(
    left: ImpulseResponse | None,
    right: ImpulseResponse | None,
    *,
    hum_hz: tuple[float, ...] = (),
) -> Bass:
    """Compute curves, features, decays and balance; every cause is "unexplained".

    Parameters
    ----------
    hum_hz : tuple of float
        Lines of mains hum: features there are left out.
    """
    return Bass(
        left=_bass_of_side((left,), hum_hz),
        right=_bass_of_side((right,), hum_hz),
        both=_bass_of_side((left, right), hum_hz),
    )


def _bass_of_side(
    responses: tuple[ImpulseResponse | None, ...], hum_hz: tuple[float, ...]
) -> BassSide | None:
    """Return one curve with its features, or None if a loudspeaker's bass wasn't heard."""
    heard = [response for response in responses if response is not None]
    if len(heard) < len(responses) or not all(_sweeps_bass(one) for one in heard):
        return None
    curve = bass_curve(*heard)
    found = [
        feature
        for feature in find_features(curve)
        if all(abs(feature.frequency_hz - line_hz) > HUM_REACH_HZ for line_hz in hum_hz)
    ]
    features = tuple(
        ExplainedFeature(feature=feature, causes=(_unexplained_cause(feature),))
        for feature in add_decays(found, curve)
    )
    return BassSide(
        curve=curve,
        features=features,
        worst=_worst_advisable(curve, features),
        balance=bass_balance(curve),
    )


def _sweeps_bass(response: ImpulseResponse) -> bool:
    """Say whether enough of the bass was swept for a curve."""
    low_hz, high_hz = response.band_hz
    return min(high_hz, HIGH_HZ) - max(low_hz, LOW_HZ) > LEAST_SWEPT_HZ


def measured_decay_s(bass: Bass) -> float | None:
    """Return the usual decay time of the bass's peaks, or None if too few were measured.

    Returns
    -------
    float or None
        Median over the peaks of both loudspeakers, in seconds.
    """
    decays = [
        one.feature.decay_s
        for side in (bass.left, bass.right)
        if side is not None
        for one in side.features
        if one.feature.decay_s is not None
    ]
    return median(decays) if len(decays) >= FEWEST_DECAYS else None


def add_causes(bass: Bass, prediction: Prediction) -> Bass:
    """Return the bass with each feature's ranked likely causes.

    Parameters
    ----------
    prediction : Prediction
        What the room is expected to do.
    """

    def explained(name: Curve, side: BassSide | None) -> BassSide | None:
        if side is None:
            return None
        causes = attribute_causes([one.feature for one in side.features], prediction, name)
        features = tuple(
            replace(one, causes=ranked) for one, ranked in zip(side.features, causes, strict=True)
        )
        return replace(side, features=features, worst=_worst_advisable(side.curve, features))

    return Bass(
        left=explained("left", bass.left),
        right=explained("right", bass.right),
        both=explained("both", bass.both),
    )


def _unexplained_cause(feature: Feature) -> Cause:
    """Return the cause of a feature in a room of which nothing is known."""
    return Cause(cause="unexplained", frequency_hz=feature.frequency_hz, score=0.0, parts={})


def _worst_advisable(
    curve: BassCurve, explained: Sequence[ExplainedFeature]
) -> tuple[ExplainedFeature, ...]:
    """Return the features likely heard most, of those that advice may rest on."""
    advisable = {id(one.feature): one for one in explained if one.advisable}
    worst = worst_features(curve, [one.feature for one in advisable.values()])
    return tuple(advisable[id(feature)] for feature in worst)


def add_positions(bass: Bass, elsewhere: Sequence[Bass]) -> Bass:
    """Add what other microphone positions around the head say.

    Parameters
    ----------
    bass : Bass
        At the centre.
    elsewhere : sequence of Bass
        At the other positions.

    Returns
    -------
    Bass
        With power mean and spread, and each feature's number of positions.
    """

    def joined(centre: BassSide | None, others: Sequence[BassSide | None]) -> BassSide | None:
        there = [other for other in others if other is not None]
        if centre is None or not there:
            return centre
        seen = position_features(
            [one.feature for one in centre.features],
            [[one.feature for one in other.features] for other in there],
        )
        features = tuple(
            replace(one, n_positions_seen=at.n_positions_seen)
            for one, at in zip(centre.features, seen, strict=True)
        )
        return replace(
            centre,
            features=features,
            worst=_worst_advisable(centre.curve, features),
            position_average=average_positions([centre.curve, *(other.curve for other in there)]),
        )

    return Bass(
        left=joined(bass.left, [other.left for other in elsewhere]),
        right=joined(bass.right, [other.right for other in elsewhere]),
        both=joined(bass.both, [other.both for other in elsewhere]),
    )
