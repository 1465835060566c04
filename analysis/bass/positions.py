r"""The bass at several microphone positions around the head.

Conventions: the centre is one of the positions; power is averaged over the positions bin by
bin; the spread is the standard deviation of the level in dB over the positions, with
n - 1. A feature of the centre counts as seen at another position where its curve
has one of the same kind within the window of `analysis.bass.feature_match`, one to one.

A feature at one position only says nothing about where a head will be.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.basics.arrays import Float, freeze
from analysis.basics.decibel import power_db, power_from_db
from analysis.bass.curve import BassCurve
from analysis.bass.feature_match import WINDOW_OCTAVES, match_features
from analysis.bass.features import Feature


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class PositionAverage:
    """Power mean of the bass over several positions.

    Attributes
    ----------
    frequency_hz : ndarray, shape (n,)
        What all positions cover, in Hz.
    level_db : ndarray, shape (n,)
        Level of the mean power, in dB.
    spread_db : ndarray, shape (n,) or None
        Standard deviation of the level over the positions, in dB; ``None`` for one position.
    """

    frequency_hz: Float
    level_db: Float
    spread_db: Float | None
    n_positions: int

    def __post_init__(self) -> None:
        for name in ("frequency_hz", "level_db", "spread_db"):
            if (value := getattr(self, name)) is not None:
                object.__setattr__(self, name, freeze(value, name=name))


@dataclass(frozen=True, kw_only=True, slots=True)
class PositionFeature:
    """A feature of the centre, and at how many positions it was seen.

    Attributes
    ----------
    feature : Feature
        As at the centre.
    n_positions_seen : int
        The centre counts, so at least 1.
    n_positions : int
        How many there were.
    frequency_spread_hz, level_spread_db : float or None
        Standard deviation over the positions that saw it; ``None`` for fewer than two.
    """

    feature: Feature
    n_positions_seen: int
    n_positions: int
    frequency_spread_hz: float | None
    level_spread_db: float | None

    @property
    def one_position_only(self) -> bool:
        """Whether other positions were measured and none showed it: no advice may rest on it."""
        return self.n_positions > 1 and self.n_positions_seen == 1


def average_positions(curves: Sequence[BassCurve]) -> PositionAverage:
    """Return the power mean of bass curves over several positions.

    Parameters
    ----------
    curves : sequence of BassCurve
        The centre and others, of one loudspeaker (or both), of one sampling frequency.

    Raises
    ------
    ValueError
        If there is no curve or they share no bins.
    """
    if not curves:
        msg = "curves must hold at least one bass curve"
        raise ValueError(msg)
    frequency_hz, rows = _common_bins(curves)
    levels = np.array([curve.level_db[row] for curve, row in zip(curves, rows, strict=True)])
    return PositionAverage(
        frequency_hz=frequency_hz,
        level_db=power_db(np.mean(power_from_db(levels), axis=0)),
        spread_db=np.std(levels, axis=0, ddof=1) if len(curves) > 1 else None,
        n_positions=len(curves),
    )


def position_features(
    centre: Sequence[Feature],
    others: Sequence[Sequence[Feature]],
    *,
    window_octaves: float = WINDOW_OCTAVES,
) -> tuple[PositionFeature, ...]:
    """Return the centre's features with the number of positions that show each.

    Parameters
    ----------
    others : sequence of sequence of Feature
        The features of each further position.
    window_octaves : float
        Largest distance in frequency, in octaves.

    Returns
    -------
    tuple of PositionFeature
        In the order of `centre`.
    """
    seen: list[list[Feature]] = [[feature] for feature in centre]
    place = {feature: index for index, feature in enumerate(centre)}
    for other in others:
        for pair in match_features(centre, other, window_octaves=window_octaves).pairs:
            seen[place[pair.first]].append(pair.second)
    return tuple(
        PositionFeature(
            feature=group[0],
            n_positions_seen=len(group),
            n_positions=len(others) + 1,
            frequency_spread_hz=_standard_deviation([feature.frequency_hz for feature in group]),
            level_spread_db=_standard_deviation([feature.level_db for feature in group]),
        )
        for group in seen
    )


def _standard_deviation(values: Sequence[float]) -> float | None:
    """Return the standard deviation with n - 1, ``None`` for fewer than two values."""
    return float(np.std(values, ddof=1)) if len(values) > 1 else None


def _common_bins(curves: Sequence[BassCurve]) -> tuple[Float, list[slice]]:
    """Return the frequencies that all curves have, and where each has them."""
    low = max(float(curve.frequency_hz[0]) for curve in curves)
    high = min(float(curve.frequency_hz[-1]) for curve in curves)
    rows = []
    for curve in curves:
        half = 0.5 * curve.spacing_hz
        start, stop = np.searchsorted(curve.frequency_hz, [low - half, high + half])
        rows.append(slice(int(start), int(stop)))
    frequency_hz = curves[0].frequency_hz[rows[0]]
    for curve, row in zip(curves, rows, strict=True):
        bins = curve.frequency_hz[row]
        if bins.size < 2 or bins.shape != frequency_hz.shape or not np.allclose(bins, frequency_hz):
            msg = "curves must share their bins: of one sampling frequency, with a common band"
            raise ValueError(msg)
    return frequency_hz, rows
