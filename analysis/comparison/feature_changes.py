r"""What became of each peak and dip of a bass curve between two readings.

Conventions: a change is after less before; ``_std_`` is one sigma. The level of a feature
is compared on the curve itself, less the change of the whole loudspeaker from 200 to 2000 Hz,
so neither a gain nor a balance knob changes any of them. (Against the local mean, of which a
strong peak is the greater part itself, it would hardly seem to change.)

Matching is `analysis.bass.feature_match`'s. What has no partner among the other reading's
features is looked for once more among its weaker ones, of `WEAK_DB` prominence: a dip that
was filled to less than the threshold of a feature is filled, not gone. What the other
reading's noise would have hidden is not listed at all.

A dip that moves in frequency when only its loudspeaker moved is evidence for a boundary,
whose path changed. One that stays is evidence for a mode, but only where a boundary dip
would have shifted visibly. With the extra path :math:`d = c / 2f` of a first cancellation
and a loudspeaker moved by :math:`s`, the extra path changes by up to :math:`2s`, hence

.. math:: |\Delta f| \le \frac{2 s}{d} f = \frac{4 s f^2}{c},

and half of that is taken as what to expect. A shift of more than ``TOO_FAR`` times the bound
is no boundary's.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from analysis.basics.uncertainty import COVERAGE_FACTOR
from analysis.bass.curve import BassCurve
from analysis.bass.feature_match import FeaturePair, match_features
from analysis.bass.features import Feature, Kind, find_features
from analysis.comparison.moved import Moved
from analysis.room.prediction import Curve

Change = Literal["moved", "filled", "deepened", "grown", "reduced", "gone", "new"]
Evidence = Literal["boundary", "mode"]


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


TOO_FAR: Final = 2.0
"""Where the distance comes from the arrival, it is at least half of a move straight back
(cos 30 degrees of it) or straight to the side (sin 30 degrees)."""


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
        Of the curve's level at the feature, the loudspeaker's own change taken off, in dB.
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
class Displacement:
    """What was moved, and by how much.

    Attributes
    ----------
    moved : str
        As `analysis.comparison.moved.Moved`.
    distance_m : float or None
        Of the loudspeaker that moved, at least; in metres.
    """

    moved: Moved
    distance_m: float | None
    speed_of_sound_m_s: float


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class CurvePair:
    """One bass curve before and after.

    Attributes
    ----------
    name : {"left", "right", "both"}
    change_db, change_std_db : float
        What its level changed by as a whole, and one sigma, in dB.
    """

    name: Curve
    before: BassCurve
    after: BassCurve
    change_db: float = 0.0
    change_std_db: float = 0.0


def feature_changes(
    before: Sequence[Feature], after: Sequence[Feature], *, curves: CurvePair, move: Displacement
) -> tuple[FeatureChange, ...]:
    """Return what became of the features of one curve.

    Returns
    -------
    tuple of FeatureChange
        By rising frequency, the unchanged ones among them.
    """
    match = match_features(before, after)
    weak = _weak_features(
        curves.after, [*(pair.second for pair in match.pairs), *match.only_second]
    )
    later = match_features(match.only_first, weak)
    weak = _weak_features(curves.before, [*(pair.first for pair in match.pairs), *match.only_first])
    earlier = match_features(weak, match.only_second)
    pairs = (*match.pairs, *later.pairs, *earlier.pairs)
    gone = [feature for feature in later.only_first if _would_show(feature, curves.after)]
    new = [feature for feature in earlier.only_second if _would_show(feature, curves.before)]
    changes = [
        *(_paired_change(pair, curves, move) for pair in pairs),
        *(_unpaired_change(curves.name, "gone", before=feature) for feature in gone),
        *(_unpaired_change(curves.name, "new", after=feature) for feature in new),
    ]
    return tuple(sorted(changes, key=lambda change: change.frequency_hz))


def _unpaired_change(
    name: Curve, change: Change, *, before: Feature | None = None, after: Feature | None = None
) -> FeatureChange:
    """Return the record of a feature that is there only once."""
    peak = any(feature is not None and feature.kind == "peak" for feature in (before, after))
    return FeatureChange(
        curve=name,
        kind="peak" if peak else "dip",
        changes=(change,),
        before=before,
        after=after,
    )


def least_shift_hz(frequency_hz: float, std_hz: float) -> float:
    """Return the smallest shift of a feature that counts, in Hz."""
    return max(COVERAGE_FACTOR * std_hz, LEAST_SHIFT * frequency_hz)


def _weak_features(curve: BassCurve, known: Sequence[Feature]) -> list[Feature]:
    """Return the weaker features of a curve, those already known left out."""
    places = np.array([feature.frequency_hz for feature in known])
    near_hz = 2 * curve.spacing_hz
    return [
        feature
        for feature in find_features(curve, prominence_db=WEAK_DB)
        if not np.any(np.abs(places - feature.frequency_hz) < near_hz)
    ]


def _would_show(feature: Feature, other: BassCurve) -> bool:
    """Return whether the other curve would have shown a feature there."""
    at = int(np.argmin(np.abs(other.frequency_hz - feature.frequency_hz)))
    inside = other.band_hz[0] <= feature.frequency_hz <= other.band_hz[1]
    return bool(inside and other.covered[at] and other.level_std_db[at] <= HIDDEN_STD_DB)


def _paired_change(pair: FeaturePair, curves: CurvePair, move: Displacement) -> FeatureChange:
    """Return the record of a feature seen in both."""
    dip = pair.first.kind == "dip"
    least_hz = least_shift_hz(pair.first.frequency_hz, pair.frequency_change_std_hz)
    change_db = _level_at_feature_db(pair.second, curves.after) - _level_at_feature_db(
        pair.first, curves.before
    )
    change_db -= curves.change_db
    std_db = math.hypot(pair.level_change_std_db or 0.0, curves.change_std_db)
    least_db = max(COVERAGE_FACTOR * std_db, LEAST_LEVEL_DB)
    changes: list[Change] = []
    if abs(pair.frequency_change_hz) > least_hz:
        changes.append("moved")
    if change_db > least_db:
        changes.append("filled" if dip else "grown")
    elif change_db < -least_db:
        changes.append("deepened" if dip else "reduced")
    return FeatureChange(
        curve=curves.name,
        kind=pair.first.kind,
        changes=tuple(changes),
        before=pair.first,
        after=pair.second,
        frequency_change_hz=pair.frequency_change_hz,
        frequency_std_hz=pair.frequency_change_std_hz,
        level_change_db=change_db,
        level_std_db=std_db,
        evidence=_evidence_of_dip(pair, "moved" in changes, curves.name, least_hz, move),
    )


def _level_at_feature_db(feature: Feature, curve: BassCurve) -> float:
    """Return the level of the curve at a feature: that against the local mean, and the mean."""
    mean_db = np.interp(feature.frequency_hz, curve.frequency_hz, curve.local_mean_db)
    return feature.level_db + float(mean_db)


def _evidence_of_dip(
    pair: FeaturePair, moved: bool, curve: Curve, least_hz: float, move: Displacement
) -> Evidence | None:
    """Return what a dip of the loudspeaker that moved, alone, speaks for."""
    if pair.first.kind != "dip" or move.moved not in ("left", "right") or curve != move.moved:
        return None
    if move.distance_m is None:
        return "boundary" if moved else None
    bound_hz = 4 * move.distance_m * pair.first.frequency_hz**2 / move.speed_of_sound_m_s
    if moved:
        return "boundary" if abs(pair.frequency_change_hz) <= TOO_FAR * bound_hz else None
    return "mode" if 0.5 * bound_hz >= EXPECTED * least_hz else None
