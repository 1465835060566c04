r"""Least squares of a room's parameters on band levels that were measured in it.

Conventions: those of `analysis.placement.fit.parameters`. Parameters are handled as *shares*,
offsets over their `PRIOR_STD`. Residuals are predicted less measured, NaN where nothing was
measured. Where the timing of left and right is known the real and imaginary parts of their
complex coherence (`analysis.placement.band_levels.band_coherence`) are residuals too.

.. math:: \sum_i \rho\!\left(\frac{L_i - \hat L_i(\theta)}{\sigma}\right)
          + \sum_k \left(\frac{\theta_k}{\sigma_k}\right)^2, \qquad
          \rho(x) = 2 \left(\sqrt{1 + x^2} - 1\right)

:math:`\rho` is quadratic within one sigma and linear beyond, so that a band that no model
reaches doesn't pull the rest. Each parameter stays within `BOUND` sigma of its prior.

References
----------
P. J. Huber, E. M. Ronchetti, "Robust Statistics", 2nd ed., 2009, ch. 7 (from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.optimize import least_squares

from analysis.basics.arrays import Complex, Float
from analysis.placement.band_levels import CENTRES_HZ, band_coherence, band_levels_db
from analysis.placement.fit.parameters import (
    BOUND,
    N_PARAMETERS,
    N_ROOM_PARAMETERS,
    NAMES,
    PRIOR_STD,
    loudspeaker_db,
    offsets_with,
    pair_pressure,
)
from analysis.placement.response.room_response import RoomModel

LEVEL_STD_DB: Final = 2.0
"""One sigma of a band level about the best model: what a smooth room of few parameters
leaves. Common practice, no source."""

COHERENCE_STD: Final = 0.35
"""One sigma of each part of a band's complex coherence of left and right about the best model: two
phases that are as far off as 2 dB is in amplitude. Common practice, no source."""

_STEP: Final = 0.01
"""Share by which a parameter is moved for a slope."""

_MOST_STEPS: Final = 12

_GAIN: Final = NAMES.index("gain_db")


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class LeastSquaresFit:
    """Parameters of least squares.

    Attributes
    ----------
    offsets : ndarray, shape (11,)
    covariance : ndarray, shape (11, 11)
        With the priors; larger where the residuals are larger than `LEVEL_STD_DB`.
    """

    offsets: Float
    covariance: Float


class BandFit:
    """Residuals of all readings for any parameters, and their least squares.

    Parameters
    ----------
    model : RoomModel
    left_m, right_m, seat_m : ndarray, shape (n, 3)
    measured_db : ndarray, shape (2, 19, n)
        Left and right.
    measured_coherence : ndarray of complex, shape (19, n), optional
        As of `analysis.placement.band_levels.band_coherence`; NaN where it isn't known.
    """

    def __init__(
        self,
        model: RoomModel,
        left_m: Float,
        right_m: Float,
        seat_m: Float,
        measured_db: Float,
        measured_coherence: Complex | None = None,
    ) -> None:
        self._model = _cache_shapes(model)
        self._places = (left_m, right_m, seat_m)
        self._measured_db = measured_db
        self._measured_coherence = measured_coherence
        self._pressures: dict[bytes, Complex] = {}
        self._slopes: dict[bytes, Float] = {}

    @property
    def n_readings(self) -> int:
        """How many readings there are."""
        return int(self._measured_db.shape[2])

    def residual_db(self, offsets: Float) -> Float:
        """Return predicted less measured levels, shape (2, 19, n)."""
        heard = self._pressure(offsets)
        speaker = 10 ** (loudspeaker_db(offsets) / 10)[:, np.newaxis]
        levels = np.stack([band_levels_db(speaker * np.abs(one) ** 2) for one in heard])
        return np.asarray(levels - self._measured_db)

    def fit_gain(self, chosen: Sequence[int]) -> Float:
        """Return the unfitted room with the gain that suits some readings best."""
        off_db = float(np.nanmedian(self.residual_db(offsets_with())[:, :, chosen]))
        limit_db = 0.99 * BOUND * float(PRIOR_STD[_GAIN])
        return offsets_with(gain_db=min(max(-off_db, -limit_db), limit_db))

    @property
    def holds_timing(self) -> bool:
        """Whether any reading holds the timing of left and right."""
        return self._measured_coherence is not None and bool(
            np.isfinite(self._measured_coherence).any()
        )

    def fit_offsets(
        self, chosen: Sequence[int], start: Float, *, timing: bool = False
    ) -> LeastSquaresFit:
        """Return the parameters that suit some readings best.

        Parameters
        ----------
        chosen : sequence of int
            The readings.
        start : ndarray, shape (11,)
            Offsets to begin with, within the bounds.
        timing : bool
            Whether the complex coherence counts.
        """
        which = list(chosen)
        rows = slice(None if timing else 2 * CENTRES_HZ.size)

        def inside(share: Float) -> Float:
            return np.nan_to_num(self._scaled_residuals(share * PRIOR_STD)[rows, which]).ravel()

        def errors(share: Float) -> Float:
            return np.concatenate([_robust_residual(inside(share)), share])

        def slopes(share: Float) -> Float:
            known = np.nan_to_num(self._jacobian(share)[rows, which]).reshape(-1, N_PARAMETERS)
            weight = _robust_slope(inside(share))[:, np.newaxis]
            return np.concatenate([weight * known, np.eye(N_PARAMETERS)])

        found = least_squares(
            errors,
            start / PRIOR_STD,
            jac=slopes,
            bounds=(-BOUND, BOUND),
            xtol=1e-3,
            ftol=1e-4,
            max_nfev=_MOST_STEPS,
        )
        at_end = np.asarray(found.jac)
        covariance = np.linalg.inv(at_end.T @ at_end) * np.outer(PRIOR_STD, PRIOR_STD)
        offsets = np.asarray(found.x * PRIOR_STD)
        off = self.residual_db(offsets)[:, :, which] / LEVEL_STD_DB
        growth = max(1.0, float(np.sqrt(np.nanmean(off**2))))
        return LeastSquaresFit(offsets=offsets, covariance=_inflate_covariance(covariance, growth))

    def _scaled_residuals(self, offsets: Float) -> Float:
        """Return all residuals over their sigma, shape (38 or 76, n)."""
        levels = self.residual_db(offsets).reshape(-1, self.n_readings) / LEVEL_STD_DB
        if self._measured_coherence is None:
            return np.asarray(levels)
        off = (self.coherence(offsets) - self._measured_coherence) / COHERENCE_STD
        return np.concatenate([levels, off.real, off.imag])

    def coherence(self, offsets: Float) -> Complex:
        """Return the predicted complex coherence of left and right, shape (19, n)."""
        amplitude = 10 ** (loudspeaker_db(offsets) / 20)[:, np.newaxis]
        left, right = self._pressure(offsets)
        return band_coherence(amplitude * left, amplitude * right)

    def _jacobian(self, share: Float) -> Float:
        """Return how residuals over sigma change with each share, shape (38 or 76, n, 11)."""
        key = share.tobytes()
        if key not in self._slopes:
            here = self._scaled_residuals(share * PRIOR_STD)
            moved = share + _STEP * np.where(share > 0, -1.0, 1.0)[:, np.newaxis] * np.eye(
                N_PARAMETERS
            )
            steps = np.sum(moved - share, axis=1)
            columns = [
                (self._scaled_residuals(one * PRIOR_STD) - here) / step
                for one, step in zip(moved, steps, strict=True)
            ]
            self._slopes[key] = np.stack(columns, axis=-1)
        return self._slopes[key]

    def _pressure(self, offsets: Float) -> Complex:
        """Return the pressure of the pair, computed once for each room."""
        key = offsets[:N_ROOM_PARAMETERS].tobytes()
        if key not in self._pressures:
            self._pressures[key] = pair_pressure(self._model, *self._places, offsets)
        return self._pressures[key]


def _robust_residual(inside: Float) -> Float:
    """Return the signed root of the loss."""
    return np.asarray(np.sign(inside) * np.sqrt(2 * (np.sqrt(1 + inside**2) - 1)))


def _robust_slope(inside: Float) -> Float:
    """Return the slope of `_robust_residual`, 1 at 0."""
    # With s = sqrt(1 + x^2): x / (s sqrt(2 (s - 1))) = sqrt((s + 1) / 2) / s.
    root = np.sqrt(1 + inside**2)
    return np.asarray(np.sqrt((root + 1) / 2) / root)


def _inflate_covariance(covariance: Float, growth: float) -> Float:
    """Return a covariance with larger sigmas, none larger than its prior."""
    std = np.sqrt(np.diag(covariance))
    factor = np.minimum(growth, np.maximum(PRIOR_STD / std, 1.0))
    return np.asarray(covariance * np.outer(factor, factor))


def _cache_shapes(model: RoomModel) -> RoomModel:
    """Return a model that computes the shapes at the same points once."""
    if model.flat is not None:
        flat = replace(model.flat, shapes_at=_cache_by_points(model.flat.shapes_at))
        return replace(model, flat=flat)
    assert model.whole is not None
    whole = replace(model.whole, shapes_at=_cache_by_points(model.whole.shapes_at))
    return replace(model, whole=whole)


def _cache_by_points(function: Callable[[Float], Float]) -> Callable[[Float], Float]:
    """Return a function of points that remembers."""
    known: dict[bytes, Float] = {}

    def remembered(points_m: Float) -> Float:
        key = np.ascontiguousarray(points_m).tobytes()
        if key not in known:
            known[key] = function(points_m)
        return known[key]

    return remembered
