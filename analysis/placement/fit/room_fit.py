"""Fitting a room's size, damping and loudspeakers to readings at known places.

Conventions: those of `analysis.placement.fit.parameters`; the least squares are those of
`analysis.placement.fit.band_fit`. What is fitted are the band levels of left and right at every
reading, and where readings hold it how both lie to each other in time.

Each reading in turn is left out and predicted by a fit to the others. Where that is no
better than the unfitted room (with its gain, which nobody knows, fitted), the unfitted
room is kept. Two parameters of which the data know only what they do together (under a
level ceiling, the losses of floor and ceiling) are named: each alone is its prior's guess.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np

from analysis.basics.arrays import Complex, Float
from analysis.placement.band_levels import CENTRES_HZ
from analysis.placement.fit.band_fit import BandFit, LeastSquaresFit
from analysis.placement.fit.parameters import (
    BOUND,
    N_PARAMETERS,
    N_ROOM_PARAMETERS,
    NAMES,
    PRIOR_STD,
)
from analysis.placement.response.room_response import RoomModel

UNDECIDED: Final = 0.7
"""A parameter whose sigma is still more than this share of the one it began with wasn't
decided by the data."""

COMBINATION: Final = 1.0
"""Of two parameters the data know a combination where they say at least as much of it as the
prior does (information in shares of the prior's)."""

NO_INFORMATION: Final = 0.1
"""And nothing of another combination where they say less than this of it."""

LEAST_PART: Final = 0.3
"""Each of two has a part in a combination from this component of its unit vector on."""

TRUSTED_DB: Final = 4.0
"""A band whose predicted level is off by more than this, rms over readings, sides and the
bands beside it, is not to be trusted: no advice rests on it."""

FEWEST_FOR_TRUST: Final = 2
"""Readings from which on a left-out one can be predicted."""

LEAST_TRUSTED: Final = 0.5
"""With a smaller share of the bands to be trusted there is nothing to advise from."""

_SIDES: Final = ("left_db", "right_db")


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class MeasuredPlace:
    """Band levels measured at one place.

    Attributes
    ----------
    left_m, right_m, seat_m : ndarray, shape (3,)
        Woofers and microphone.
    left_db, right_db : ndarray, shape (19,)
        NaN where the sweep gave nothing.
    coherence : ndarray of complex or None, shape (19,)
        Complex coherence of left and right (`analysis.placement.band_levels.band_coherence`); None
        where the reading doesn't hold their timing.
    """

    left_m: Float
    right_m: Float
    seat_m: Float
    left_db: Float
    right_db: Float
    coherence: Complex | None = None


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class RoomFit:
    """What the readings say of the room.

    Attributes
    ----------
    offsets : ndarray, shape (11,)
        Fitted parameters, in the order of `analysis.placement.fit.parameters.NAMES`; where the fit
        isn't kept, all 0 but the gain.
    offsets_std : ndarray, shape (11,)
        One sigma of each; the prior's where the fit isn't kept.
    covariance : ndarray, shape (11, 11)
        What rooms are drawn from; where the fit isn't kept, without the loudspeakers.
    n_readings : int
        Those that cover a band.
    kept : bool
        Whether the fit beats the unfitted room at readings it hasn't seen.
    timing : bool
        Whether the timing of left and right was fitted too.
    before_db, after_db : float
        Rms error over all bands, unfitted and fitted.
    left_out_before_db, left_out_db : float or None
        The same for left-out readings; None with one reading.
    undecided : tuple of str
        Parameters that the data couldn't decide.
    inseparable : tuple of (str, str)
        Pairs of the room's parameters that the data know only together.
    band_error_db : ndarray, shape (19,)
        Rms error of each band, at left-out readings where there are any.
    trusted : ndarray, shape (19,)
        1 for bands that advice may rest on, else 0.
    """

    offsets: Float
    offsets_std: Float
    covariance: Float
    n_readings: int
    kept: bool
    timing: bool
    before_db: float
    after_db: float
    left_out_before_db: float | None
    left_out_db: float | None
    undecided: tuple[str, ...]
    inseparable: tuple[tuple[str, str], ...]
    band_error_db: Float
    trusted: Float

    @property
    def contradicted(self) -> bool:
        """Whether readings and room part in so many bands that nothing can be advised."""
        return bool(self.trusted.sum() < LEAST_TRUSTED * CENTRES_HZ.size)

    @property
    def model_error_db(self) -> float | None:
        """Rms error at readings that weren't fitted; None where that isn't known."""
        return self.left_out_db if self.kept else self.left_out_before_db

    def draws(self, rng: np.random.Generator, n_draws: int) -> Float:
        """Return parameters drawn within their uncertainty, shape (n_draws, 11)."""
        root = np.linalg.cholesky(self.covariance + 1e-12 * np.eye(N_PARAMETERS))
        drawn = self.offsets + rng.standard_normal((n_draws, N_PARAMETERS)) @ root.T
        return np.asarray(np.clip(drawn, -BOUND * PRIOR_STD, BOUND * PRIOR_STD))


def fit_room(model: RoomModel, readings: Sequence[MeasuredPlace]) -> RoomFit:
    """Fit a room to readings.

    Parameters
    ----------
    readings : sequence of MeasuredPlace
        At least one; those that cover no band are left out.

    Raises
    ------
    ValueError
        If there is no reading, or none covers a band.
    """
    band_fit = _band_fit(model, readings)
    best = _cross_validate(band_fit, timing=False)
    if band_fit.holds_timing and band_fit.n_readings >= FEWEST_FOR_TRUST:
        timed = _cross_validate(band_fit, timing=True)
        best = timed if _rms(timed.left_out_db) < _rms(best.left_out_db) else best
    return _fit_or_unfitted(band_fit, best)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _CrossValidation:
    """A fit to all readings, and residuals of each by fits to the others."""

    timing: bool
    first: Float
    fitted: LeastSquaresFit
    left_out_unfitted_db: Float
    left_out_db: Float


def _cross_validate(band_fit: BandFit, *, timing: bool) -> _CrossValidation:
    """Return a fit with or without timing; of one reading what it was fitted to."""
    everyone = list(range(band_fit.n_readings))
    first = band_fit.fit_gain(everyone)
    fitted = band_fit.fit_offsets(everyone, first, timing=timing)
    if band_fit.n_readings < FEWEST_FOR_TRUST:
        plain, better = [band_fit.residual_db(first)], [band_fit.residual_db(fitted.offsets)]
    else:
        plain, better = [], []
        for k in everyone:
            others = [i for i in everyone if i != k]
            # Begun where all readings led; what the others say alone is found from there.
            alone = band_fit.fit_offsets(others, fitted.offsets, timing=timing)
            plain.append(band_fit.residual_db(band_fit.fit_gain(others))[:, :, [k]])
            better.append(band_fit.residual_db(alone.offsets)[:, :, [k]])
    return _CrossValidation(
        timing=timing,
        first=first,
        fitted=fitted,
        left_out_unfitted_db=np.concatenate(plain, axis=2),
        left_out_db=np.concatenate(better, axis=2),
    )


def _fit_or_unfitted(band_fit: BandFit, validated: _CrossValidation) -> RoomFit:
    """Return the fit, or the unfitted room where the fit predicts no better."""
    fitted, alone = validated.fitted, band_fit.n_readings < FEWEST_FOR_TRUST
    left_out_before, left_out = _rms(validated.left_out_unfitted_db), _rms(validated.left_out_db)
    kept = not alone and left_out < left_out_before
    error = _band_error_db(validated.left_out_db if kept else validated.left_out_unfitted_db)
    trusted = error <= (np.inf if alone else TRUSTED_DB)
    return RoomFit(
        offsets=fitted.offsets if kept else validated.first,
        offsets_std=np.sqrt(np.diag(fitted.covariance)) if kept else PRIOR_STD,
        covariance=fitted.covariance if kept else _room_prior_covariance(),
        n_readings=band_fit.n_readings,
        kept=kept,
        timing=kept and validated.timing,
        before_db=_rms(band_fit.residual_db(validated.first)),
        after_db=_rms(band_fit.residual_db(fitted.offsets)),
        left_out_before_db=None if alone else left_out_before,
        left_out_db=None if alone else left_out,
        undecided=_undecided_parameters(fitted),
        inseparable=_inseparable_pairs(fitted),
        band_error_db=error,
        trusted=trusted.astype(float),
    )


def _band_fit(model: RoomModel, readings: Sequence[MeasuredPlace]) -> BandFit:
    """Return the readings as a problem of least squares."""
    if not readings:
        msg = "readings is empty: give at least one"
        raise ValueError(msg)
    useful = [one for one in readings if np.isfinite([one.left_db, one.right_db]).any()]
    if not useful:
        msg = "no reading covers a band from 25 to 200 Hz"
        raise ValueError(msg)
    measured = np.stack([np.stack([getattr(one, name) for one in useful], 1) for name in _SIDES])
    left, right, seat = (
        np.stack([getattr(one, name) for one in useful]) for name in ("left_m", "right_m", "seat_m")
    )
    unknown = np.full(CENTRES_HZ.size, np.nan + 0j)
    coherences = [unknown if one.coherence is None else one.coherence for one in useful]
    return BandFit(model, left, right, seat, measured, np.stack(coherences, axis=1))


def _undecided_parameters(fitted: LeastSquaresFit) -> tuple[str, ...]:
    """Return the parameters about which the data said little."""
    share = np.sqrt(np.diag(fitted.covariance)) / PRIOR_STD
    return tuple(name for name, one in zip(NAMES, share, strict=True) if one > UNDECIDED)


def _inseparable_pairs(fitted: LeastSquaresFit) -> tuple[tuple[str, str], ...]:
    """Return the pairs of the room's parameters that are known only together."""
    share = fitted.covariance / np.outer(PRIOR_STD, PRIOR_STD)
    found = []
    for pair in combinations(range(N_ROOM_PARAMETERS), 2):
        of_data = np.linalg.inv(share[np.ix_(pair, pair)]) - np.eye(2)
        (least, most), directions = np.linalg.eigh(of_data)
        both = np.abs(directions[:, 1]).min() >= LEAST_PART
        if most >= COMBINATION and least <= NO_INFORMATION and both:
            found.append((NAMES[pair[0]], NAMES[pair[1]]))
    return tuple(found)


def _room_prior_covariance() -> Float:
    """Return the prior's covariance of the room's own parameters."""
    own = np.arange(N_PARAMETERS) < N_ROOM_PARAMETERS
    return np.diag(np.where(own, PRIOR_STD, 0.0) ** 2)


def _rms(residual_db: Float) -> float:
    """Return the rms of what is known."""
    return float(np.sqrt(np.nanmean(residual_db**2)))


def _band_error_db(residual_db: Float) -> Float:
    """Return the rms error of each band and the ones beside it; infinite where unknown."""
    square = np.where(np.isfinite(residual_db), residual_db**2, 0.0).sum(axis=(0, 2))
    count = np.isfinite(residual_db).sum(axis=(0, 2)).astype(float)
    kernel = np.ones(3)
    square, count = (np.convolve(one, kernel, mode="same") for one in (square, count))
    known = count > 0
    return np.asarray(np.where(known, np.sqrt(square / np.maximum(count, 1)), np.inf))
