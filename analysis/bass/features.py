r"""Peaks and dips of a bass curve, each with its place, size, width and decay.

Conventions: frequencies in Hz, levels in dB; a peak is a local maximum of the
unsmoothed level curve, a dip a local minimum. Every ``_std_`` field is one sigma.

A peak or dip that noise could have made isn't listed. Were the response equally
strong at the extremum 1 and at its foot 2 (the base that sets the prominence), then

.. math:: \big||Y_1| - |Y_2|\big| \le |N_1 - N_2 e^{i\varphi}|,

and the right side is complex Gaussian of expected square
:math:`\sigma_1^2 + \sigma_2^2`: it exceeds :math:`k \sqrt{\sigma_1^2 + \sigma_2^2}`
with the chance :math:`e^{-k^2}` at any signal-to-noise ratio. The extremum was picked
among all pairs of the curve's cells of one resolution, so :math:`k^2` is the logarithm
of the number of pairs over ``CHANCE``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from analysis.basics.arrays import Float
from analysis.basics.decibel import power_from_db
from analysis.basics.local_maxima import find_local_maxima
from analysis.bass.curve import BassCurve

Kind = Literal["peak", "dip"]
Mask = NDArray[np.bool_]
Indices = NDArray[np.intp]

PROMINENCE_DB: Final = 3.0
"""Least prominence of a feature. 3 dB is what the power of one more equal mode adds, and
the trade calls a bass response "within 3 dB" even: common practice, no source."""

CHANCE: Final = 0.005
"""Largest chance that noise puts one feature into a curve that has none."""

WIDTH_DB: Final = 3.0
"""Width is taken so far from the extremum: for a lone mode, 2.2 over its decay time."""

RESOLUTION_SHARE: Final = 0.02
"""One sigma by which the window's end moves an extremum, as a share of the resolution:
measured on simulated modes, see ``docs/bass.md``."""

REACH_SIGMAS: Final = 2.0
REACH_CELLS: Final = 0.5
"""An extremum may lie wherever the magnitude is within so many sigmas of its own, less
the part of a resolution cell over which noise is the same."""

SPACING_SHARE: Final = 0.05
"""One sigma of the parabola through three bins, as a share of their distance: measured."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Feature:
    """One peak or dip of a bass curve.

    Attributes
    ----------
    kind : {"peak", "dip"}
    frequency_hz : float
        Where the unsmoothed curve has its extremum, interpolated, in Hz.
    frequency_std_hz : float
        One sigma of it, in Hz.
    level_db : float
        Level against the local mean (one octave), in dB; below 0 for a dip.
    level_std_db : float or None
        One sigma of the level from noise, in dB; ``None`` where unknown.
    prominence_db : float
        Topographic prominence on the unsmoothed dB curve, of the negated curve
        for a dip; in dB, above 0 for both kinds.
    width_hz : float or None
        Between the points 3 dB below a peak or 3 dB above a dip's bottom, in Hz;
        ``None`` where the curve turns before it has come so far.
    q : float or None
        ``frequency_hz / width_hz``.
    decay_s : float or None
        Time in which the peak's own ringing would fall by 60 dB, in seconds;
        ``None`` for a dip, and where it can't be told.
    decay_std_s : float or None
        One sigma of it, in seconds.
    """

    kind: Kind
    frequency_hz: float
    frequency_std_hz: float
    level_db: float
    prominence_db: float
    level_std_db: float | None = None
    width_hz: float | None = None
    q: float | None = None
    decay_s: float | None = None
    decay_std_s: float | None = None


def find_features(
    curve: BassCurve, *, prominence_db: float = PROMINENCE_DB, chance: float = CHANCE
) -> tuple[Feature, ...]:
    """Return the peaks and dips of a bass curve that noise cannot have made.

    Parameters
    ----------
    prominence_db : float
        Least prominence, in dB, above 0.
    chance : float
        Largest chance that a curve without peaks or dips shows one, from 0 to 1.

    Returns
    -------
    tuple of Feature
        By rising frequency, without decay times.

    Raises
    ------
    ValueError
        If `prominence_db` isn't above 0 or `chance` not between 0 and 1.
    """
    if not prominence_db > 0:
        msg = f"prominence_db {prominence_db} must be greater than zero"
        raise ValueError(msg)
    if not 0 < chance < 1:
        msg = f"chance {chance} must lie between 0 and 1"
        raise ValueError(msg)
    found = []
    for segment in _covered_segments(curve.covered):
        for sign in (1, -1):
            level = sign * curve.level_db[segment]
            maxima = find_local_maxima(level, prominence=prominence_db)
            feet = _higher_bases(level, maxima.indices, maxima.left_bases, maxima.right_bases)
            for index, foot, prominence in zip(
                maxima.indices, feet, maxima.prominences, strict=True
            ):
                at, base = int(index) + segment.start, int(foot) + segment.start
                if _exceeds_noise(curve, at, base, chance=chance):
                    found.append(_feature_at(curve, at, segment, sign, float(prominence)))
    return tuple(sorted(found, key=lambda feature: feature.frequency_hz))


def _covered_segments(covered: Mask) -> tuple[slice, ...]:
    """Return the stretches of a curve that are covered without a gap."""
    change = np.flatnonzero(np.diff(np.concatenate(([False], covered, [False]))))
    return tuple(
        slice(int(a), int(b)) for a, b in zip(change[::2], change[1::2], strict=True) if b - a > 2
    )


def _higher_bases(level: Float, peaks: Indices, left: Indices, right: Indices) -> Indices:
    """Return for each peak the higher of its two bases, which sets its prominence."""
    return np.where(level[left] >= level[right], left, right) if peaks.size else peaks


def _exceeds_noise(curve: BassCurve, at: int, foot: int, *, chance: float) -> bool:
    """Return whether the magnitudes at an extremum and its foot differ beyond noise."""
    n_cells = max(2.0, curve.frequency_hz.size * curve.spacing_hz / curve.resolution_hz)
    n_pairs = n_cells * (n_cells - 1) / 2
    magnitude = np.abs(curve.response[[at, foot]])
    noise_power = float(np.sum(power_from_db(curve.noise_level_db[[at, foot]])))
    limit = math.log(n_pairs / chance) * noise_power
    return float(magnitude[0] - magnitude[1]) ** 2 > limit


def _feature_at(
    curve: BassCurve, at: int, segment: slice, sign: int, prominence_db: float
) -> Feature:
    """Return the record of the extremum at an index of the curve."""
    before, top, after = sign * curve.level_db[at - 1 : at + 2]
    bend = before - 2 * top + after
    offset = 0.5 * (before - after) / bend if bend < 0 else 0.0
    frequency_hz = float(curve.frequency_hz[at] + offset * curve.spacing_hz)
    level = sign * (top - 0.25 * (before - after) * offset)
    width_hz = _width_hz(curve, at - segment.start, segment, sign)
    return Feature(
        kind="peak" if sign > 0 else "dip",
        frequency_hz=frequency_hz,
        frequency_std_hz=_frequency_std_hz(curve, at, float(bend), segment),
        level_db=float(level - np.interp(frequency_hz, curve.frequency_hz, curve.local_mean_db)),
        level_std_db=float(curve.level_std_db[at]),
        prominence_db=prominence_db,
        width_hz=width_hz,
        q=None if width_hz is None else frequency_hz / width_hz,
    )


def _frequency_std_hz(curve: BassCurve, at: int, bend: float, segment: slice) -> float:
    """Return one sigma of an extremum's frequency from noise, window and spacing.

    A sharp extremum is moved by the noise of the slope over the curvature. On a flat
    one noise makes its own extremum anywhere within reach: as far as the magnitude
    doesn't differ beyond noise.
    """
    curvature = max(abs(bend) / curve.spacing_hz**2, 1e-12)
    sharp_hz = min(float(curve.slope_std_db_per_hz[at]) / curvature, curve.resolution_hz)
    flat_hz = (_reach_hz(curve, at, segment) - REACH_CELLS * curve.resolution_hz) / REACH_SIGMAS
    return math.hypot(
        max(sharp_hz, flat_hz),
        RESOLUTION_SHARE * curve.resolution_hz,
        SPACING_SHARE * curve.spacing_hz,
    )


def _reach_hz(curve: BassCurve, at: int, segment: slice) -> float:
    """Return how far from an extremum the magnitude stays within ``REACH_SIGMAS`` of it."""
    magnitude = np.abs(curve.response[segment])
    noise_power = power_from_db(curve.noise_level_db[segment])
    at -= segment.start
    # Half the power of complex noise lies along the response, at either point.
    sigma = np.sqrt(0.5 * (noise_power + noise_power[at]))
    beyond = np.abs(magnitude - magnitude[at]) > REACH_SIGMAS * sigma
    ends = [np.flatnonzero(side) for side in (beyond[at::-1], beyond[at:])]
    lengths = [
        int(e[0]) if e.size else s for e, s in zip(ends, (at, beyond.size - at), strict=True)
    ]
    return max(lengths) * curve.spacing_hz


def _width_hz(curve: BassCurve, at: int, segment: slice, sign: int) -> float | None:
    """Return the width between the 3 dB points beside an extremum, in Hz."""
    level = sign * curve.level_db[segment]
    limit = level[at] - WIDTH_DB
    edges = []
    for side in (level[at::-1], level[at:]):
        below = np.flatnonzero(side < limit)
        stop = int(below[0]) if below.size else side.size
        if stop == side.size or np.any(side[:stop] > level[at]):
            return None
        edges.append(stop - 1 + float((side[stop - 1] - limit) / (side[stop - 1] - side[stop])))
    return sum(edges) * curve.spacing_hz
