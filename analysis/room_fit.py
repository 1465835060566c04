r"""Fitting a room's size, damping and loudspeakers to readings at known places.

Conventions: those of `analysis.room_parameters` and `analysis.band_levels`. What is fitted
are the band levels of left and right at every reading; timing isn't used. The least squares

.. math:: \sum_i \rho\!\left(\frac{L_i - \hat L_i(\theta)}{\sigma}\right)
          + \sum_k \left(\frac{\theta_k}{\sigma_k}\right)^2

are bounded (three sigma of each parameter) and robust (:math:`\rho` is linear beyond one
sigma), so that a band that no model reaches doesn't pull the rest. The priors are what
keeps parameters that the data can't decide.

Each reading in turn is left out and foretold by a fit to the others. Where that is no
better than the unfitted room (with its gain, which nobody knows, fitted), the unfitted
room is kept.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.optimize import least_squares

from analysis.arrays import Float
from analysis.band_levels import CENTRES_HZ
from analysis.room_parameters import BOUND, NAMES, PRIOR_STD, pair_levels
from analysis.room_response import RoomModel

LEVEL_STD_DB: Final = 2.0
"""One sigma of a band level about the best model: what a smooth room of few parameters
leaves. Common practice, no source."""

UNDECIDED: Final = 0.7
"""A parameter whose sigma is still more than this share of the one it began with wasn't
decided by the data."""

TRUSTED_DB: Final = 4.0
"""A band whose foretold level is off by more than this, rms over readings, sides and the
bands beside it, is not to be trusted: no advice rests on it."""

FEWEST_FOR_TRUST: Final = 2
"""Readings from which on a left-out one can be foretold."""

_GAIN: Final = NAMES.index("gain_db")


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class MeasuredPlace:
    """Band levels measured at one place.

    Attributes
    ----------
    left_m, right_m, seat_m : ndarray, shape (3,)
        Woofers and microphone.
    left_db, right_db : ndarray, shape (19,)
        NaN where the sweep gave nothing.
    """

    left_m: Float
    right_m: Float
    seat_m: Float
    left_db: Float
    right_db: Float


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class RoomFit:
    """What the readings say of the room.

    Attributes
    ----------
    offsets : ndarray, shape (9,)
        Fitted parameters, in the order of `analysis.room_parameters.NAMES`; where the fit
        isn't kept, all 0 but the gain.
    offsets_std : ndarray, shape (9,)
        One sigma of each.
    covariance : ndarray, shape (9, 9)
    n_readings : int
    kept : bool
        Whether the fit beats the unfitted room at readings it hasn't seen.
    before_db, after_db : float
        Rms error over all bands, unfitted and fitted.
    left_out_before_db, left_out_db : float or None
        The same for left-out readings; None with one reading.
    undecided : tuple of str
        Parameters that the data couldn't decide.
    band_error_db : ndarray, shape (19,)
        Rms error of each band, foretold where it can be.
    trusted : ndarray, shape (19,)
        1 for bands that advice may rest on, else 0.
    """

    offsets: Float
    offsets_std: Float
    covariance: Float
    n_readings: int
    kept: bool
    before_db: float
    after_db: float
    left_out_before_db: float | None
    left_out_db: float | None
    undecided: tuple[str, ...]
    band_error_db: Float
    trusted: Float

    @property
    def model_error_db(self) -> float | None:
        """Rms error at readings that weren't fitted; None where that isn't known."""
        return self.left_out_db if self.kept else self.left_out_before_db

    def draws(self, rng: np.random.Generator, n_draws: int) -> Float:
        """Return parameters drawn within their uncertainty, shape (n_draws, 9)."""
        root = np.linalg.cholesky(self.covariance + 1e-12 * np.eye(len(NAMES)))
        drawn = self.offsets + rng.standard_normal((n_draws, len(NAMES))) @ root.T
        return np.asarray(np.clip(drawn, -BOUND * PRIOR_STD, BOUND * PRIOR_STD))


def fit_room(model: RoomModel, readings: Sequence[MeasuredPlace]) -> RoomFit:
    """Fit a room to readings.

    Parameters
    ----------
    model : RoomModel
    readings : sequence of MeasuredPlace
        At least one.

    Returns
    -------
    RoomFit

    Raises
    ------
    ValueError
        If there is no reading, or none covers a band.
    """
    if not readings:
        msg = "readings is empty: give at least one"
        raise ValueError(msg)
    if not any(np.isfinite([one.left_db, one.right_db]).any() for one in readings):
        msg = "no reading covers a band from 25 to 200 Hz"
        raise ValueError(msg)
    offsets, covariance = _fitted(model, readings)
    first = _gain_only(model, readings)
    before, after = (_residual_db(model, readings, one) for one in (first, offsets))
    foretold, foretold_before = before, before
    left_out: tuple[float | None, float | None] = (None, None)
    if len(readings) >= FEWEST_FOR_TRUST:
        foretold, foretold_before = _foretold(model, readings)
        left_out = (_rms(foretold_before), _rms(foretold))
    kept = left_out[0] is not None and left_out[1] is not None and left_out[1] < left_out[0]
    error = _band_error(foretold if kept else foretold_before)
    trusted = np.where(error <= TRUSTED_DB, 1.0, 0.0) if left_out[0] is not None else np.ones(19)
    std = np.sqrt(np.diag(covariance))
    if not kept:
        covariance = np.diag(np.where(np.arange(len(NAMES)) < _GAIN, PRIOR_STD, 0.0) ** 2)
    return RoomFit(
        offsets=offsets if kept else first,
        offsets_std=std,
        covariance=covariance,
        n_readings=len(readings),
        kept=kept,
        before_db=_rms(before),
        after_db=_rms(after),
        left_out_before_db=left_out[0],
        left_out_db=left_out[1],
        undecided=tuple(
            name for name, a, b in zip(NAMES, std, PRIOR_STD, strict=True) if a > UNDECIDED * b
        ),
        band_error_db=error,
        trusted=trusted if trusted.sum() >= CENTRES_HZ.size / 2 else np.ones(CENTRES_HZ.size),
    )


def _fitted(model: RoomModel, readings: Sequence[MeasuredPlace]) -> tuple[Float, Float]:
    """Return the parameters of least squares and their covariance."""
    scale = 1.0 / LEVEL_STD_DB

    def errors(share: Float) -> Float:
        residual = _residual_db(model, readings, share * PRIOR_STD)
        inside = np.nan_to_num(scale * residual).ravel()
        # Linear beyond one sigma, as a square root so that the priors stay quadratic.
        size = np.sqrt(2 * (np.sqrt(1 + inside**2) - 1))
        return np.concatenate([np.sign(inside) * size, share])

    start = _gain_only(model, readings) / PRIOR_STD
    found = least_squares(errors, start, bounds=(-BOUND, BOUND), diff_step=[1e-3], max_nfev=12)
    slopes = np.asarray(found.jac)
    information = slopes.T @ slopes
    covariance = np.linalg.inv(information) * np.outer(PRIOR_STD, PRIOR_STD)
    return np.asarray(found.x * PRIOR_STD), np.asarray(covariance)


def _gain_only(model: RoomModel, readings: Sequence[MeasuredPlace]) -> Float:
    """Return the unfitted room with the gain that suits best."""
    offsets = np.zeros(len(NAMES))
    offsets[_GAIN] = float(np.nanmedian(-_residual_db(model, readings, offsets)))
    limit = 0.99 * BOUND * PRIOR_STD[_GAIN]
    offsets[_GAIN] = min(max(offsets[_GAIN], -limit), limit)
    return offsets


def _residual_db(model: RoomModel, readings: Sequence[MeasuredPlace], offsets: Float) -> Float:
    """Return predicted less measured levels, shape (2, 19, n_readings)."""
    places = [
        np.stack([getattr(one, name) for one in readings])
        for name in ("left_m", "right_m", "seat_m")
    ]
    levels = pair_levels(model, places[0], places[1], places[2], offsets)
    measured = [np.stack([getattr(one, name) for one in readings], axis=1) for name in _SIDES]
    return np.asarray(np.stack([levels.left_db, levels.right_db]) - np.stack(measured))


_SIDES: Final = ("left_db", "right_db")


def _foretold(model: RoomModel, readings: Sequence[MeasuredPlace]) -> tuple[Float, Float]:
    """Return residuals of each reading by fits to the others: fitted, and gain only."""
    fitted, plain = [], []
    for k in range(len(readings)):
        others = [one for i, one in enumerate(readings) if i != k]
        alone = [readings[k]]
        fitted.append(_residual_db(model, alone, _fitted(model, others)[0]))
        plain.append(_residual_db(model, alone, _gain_only(model, others)))
    return np.concatenate(fitted, axis=2), np.concatenate(plain, axis=2)


def _rms(residual_db: Float) -> float:
    """Return the rms of what is known."""
    return float(np.sqrt(np.nanmean(residual_db**2)))


def _band_error(residual_db: Float) -> Float:
    """Return the rms error of each band and the ones beside it; infinite where unknown."""
    square = np.where(np.isfinite(residual_db), residual_db**2, 0.0).sum(axis=(0, 2))
    count = np.isfinite(residual_db).sum(axis=(0, 2)).astype(float)
    kernel = np.ones(3)
    square, count = (np.convolve(one, kernel, mode="same") for one in (square, count))
    known = count > 0
    return np.asarray(np.where(known, np.sqrt(square / np.maximum(count, 1)), np.inf))
