r"""What became of each peak and dip of a bass curve between two readings.

Conventions: a change is after less before; levels against the local mean of their own
curve, so a gain changes none of them; ``_std_`` is one sigma.

Matching is `analysis.feature_match`'s. What has no partner among the other reading's
features is looked for once more among its weaker ones, of `WEAK_DB` prominence: a dip that
was filled to less than the threshold of a feature is filled, not gone. What the other
reading's noise would have hidden is not listed at all.

A dip that moves in frequency when only its loudspeaker moved is evidence for a boundary,
whose path changed. One that stays is evidence for a mode, but only where a boundary dip
would have shifted visibly. With the extra path :math:`d = c / 2f` of a first cancellation
and a loudspeaker moved by :math:`s`, the extra path changes by up to :math:`2s`, hence

.. math:: |\Delta f| \le \frac{2 s}{d} f = \frac{4 s f^2}{c},

and half of that is taken as what to expect.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from analysis.feature_match import FeaturePair, match_features
from analysis.features import Feature, Kind, find_features
from analysis.moved import Moved
from analysis.prediction import Curve
from analysis.spectrum import BassCurve

Change = Literal["moved", "filled", "deepened", "grown", "reduced", "gone", "new"]
Evidence = Literal["boundary", "mode"]

SIGMAS: Final = 2.0

LEAST_SHIFT: Final = 0.01
"""A smaller shift, as a share of the frequency, is none: five kelvin make 0.9 %."""

LEAST_LEVEL_DB: Final = 1.0
"""A smaller change of level is none: common practice, no source."""

WEAK_DB: Final = 1.0
"""Prominence from which a feature that lost its partner is looked for again."""

HIDDEN_STD_DB: Final = 1.5
"""Where noise moves the level by more, a missing feature proves nothing."""

EXPECTED: Final = 3.0
"""A dip that stayed speaks for a mode if a boundary's would have shifted by so many times
the smallest shift that counts."""


@dataclass(frozen=True, kw_only=True, slots=True)
class FeatureChange:
    """One peak or dip before and after.

    Attributes
    ----------
    curve : {"left", "right", "both"}
    kind : {"peak", "dip"}
    changes : tuple of str
        Of ``moved``, ``filled`` and ``deepened`` (dips), ``grown`` and ``reduced`` (peaks),
        ``gone``, ``new``; empty where nothing changed beyond uncertainty.
    before, after : Feature or None
        None before if new, after if gone.
    frequency_change_hz, frequency_std_hz : float or None
        In Hz; None unless both are there.
    level_change_db, level_std_db : float or None
        Of the level against the local mean, in dB; the std also where unknown.
    evidence : {"boundary", "mode"} or None
        What a dip's moving or staying speaks for.
    """

    curve: Curve
    kind: Kind
    changes: tuple[Change, ...]
    before: Feature | None
    after: Feature | None
    frequency_change_hz: float | None = None
    frequency_std_hz: float | None = None
    level_change_db: float | None = None
    level_std_db: float | None = None
    evidence: Evidence | None = None

    @property
    def frequency_hz(self) -> float:
        """Where it was, or is if new, in Hz."""
        feature = self.before if self.before is not None else self.after
        return math.nan if feature is None else feature.frequency_hz


@dataclass(frozen=True, kw_only=True, slots=True)
class Move:
    """What was moved, and by how much.

    Attributes
    ----------
    moved : str
        As `analysis.moved.Moved`.
    distance_m : float or None
        Of the loudspeaker that moved, at least; in metres.
    speed_of_sound_m_s : float
    """

    moved: Moved
    distance_m: float | None
    speed_of_sound_m_s: float


def feature_changes(
    before: Sequence[Feature],
    after: Sequence[Feature],
    *,
    curve: Curve,
    curves: tuple[BassCurve, BassCurve],
    move: Move,
) -> tuple[FeatureChange, ...]:
    """Return what became of the features of one curve.

    Parameters
    ----------
    before, after : sequence of Feature
    curve : {"left", "right", "both"}
    curves : tuple of BassCurve
        Before and after.
    move : Move

    Returns
    -------
    tuple of FeatureChange
        By rising frequency, the unchanged ones among them.
    """
    match = match_features(before, after)
    changes = [_pair(pair, curve, move) for pair in match.pairs]
    taken = [pair.second for pair in match.pairs]
    weak = _weak(curves[1], [*taken, *match.only_second])
    again = match_features(match.only_first, weak)
    changes += [_pair(pair, curve, move) for pair in again.pairs]
    changes += [
        FeatureChange(curve=curve, kind=f.kind, changes=("gone",), before=f, after=None)
        for f in again.only_first
        if _visible(f, curves[1])
    ]
    weak = _weak(curves[0], [pair.first for pair in match.pairs] + list(match.only_first))
    earlier = match_features(weak, match.only_second)
    changes += [_pair(pair, curve, move) for pair in earlier.pairs]
    changes += [
        FeatureChange(curve=curve, kind=f.kind, changes=("new",), before=None, after=f)
        for f in earlier.only_second
        if _visible(f, curves[0])
    ]
    return tuple(sorted(changes, key=lambda change: change.frequency_hz))


def least_shift_hz(frequency_hz: float, std_hz: float) -> float:
    """Return the smallest shift of a feature that counts, in Hz."""
    return max(SIGMAS * std_hz, LEAST_SHIFT * frequency_hz)


def _weak(curve: BassCurve, known: Sequence[Feature]) -> list[Feature]:
    """Return the weaker features of a curve, those already known left out."""
    places = np.array([feature.frequency_hz for feature in known])
    near_hz = 2 * curve.spacing_hz
    return [
        feature
        for feature in find_features(curve, prominence_db=WEAK_DB)
        if not np.any(np.abs(places - feature.frequency_hz) < near_hz)
    ]


def _visible(feature: Feature, other: BassCurve) -> bool:
    """Return whether the other curve would have shown a feature there."""
    at = int(np.argmin(np.abs(other.frequency_hz - feature.frequency_hz)))
    inside = other.band_hz[0] <= feature.frequency_hz <= other.band_hz[1]
    return bool(inside and other.covered[at] and other.level_std_db[at] <= HIDDEN_STD_DB)


def _pair(pair: FeaturePair, curve: Curve, move: Move) -> FeatureChange:
    """Return the record of a feature seen in both."""
    kind = pair.first.kind
    least_hz = least_shift_hz(pair.first.frequency_hz, pair.frequency_change_std_hz)
    least_db = max(SIGMAS * (pair.level_change_std_db or 0.0), LEAST_LEVEL_DB)
    changes: list[Change] = []
    if abs(pair.frequency_change_hz) > least_hz:
        changes.append("moved")
    if pair.level_change_db > least_db:
        changes.append("filled" if kind == "dip" else "grown")
    elif pair.level_change_db < -least_db:
        changes.append("deepened" if kind == "dip" else "reduced")
    return FeatureChange(
        curve=curve,
        kind=kind,
        changes=tuple(changes),
        before=pair.first,
        after=pair.second,
        frequency_change_hz=pair.frequency_change_hz,
        frequency_std_hz=pair.frequency_change_std_hz,
        level_change_db=pair.level_change_db,
        level_std_db=pair.level_change_std_db,
        evidence=_evidence(pair, "moved" in changes, curve, least_hz, move),
    )


def _evidence(
    pair: FeaturePair, moved: bool, curve: Curve, least_hz: float, move: Move
) -> Evidence | None:
    """Return what a dip of the loudspeaker that moved, alone, speaks for."""
    if pair.first.kind != "dip" or move.moved not in ("left", "right") or curve != move.moved:
        return None
    if moved:
        return "boundary"
    if move.distance_m is None:
        return None
    expected_hz = 2 * move.distance_m * pair.first.frequency_hz**2 / move.speed_of_sound_m_s
    return "mode" if expected_hz >= EXPECTED * least_hz and math.isfinite(expected_hz) else None
