r"""Damped oscillations fitted to a narrow band.

Conventions: a narrow band is complex, shifted down by its centre frequency, and
sampled evenly; its model is :math:`z_n = \sum_k a_k\, p_k^n` plus noise, with the pole
:math:`p = e^{(-\delta + i\omega)\Delta t}` in the relative time of the samples.

Poles come from the matrix pencil, then Gauss-Newton steps bring the sum of squares
down. Noise has mean zero in the complex band, so it doesn't bias the decay as it does
where a straight line is laid through a level. The noise of a filtered band is not
white; the spread of the poles allows for its correlation.

References
----------
Y. Hua, T. K. Sarkar, "Matrix pencil method for estimating parameters of exponentially
damped/undamped sinusoids in noise", IEEE Trans. Acoust. Speech Signal Process. 38
(1990) 814-824 (from memory).
M. Karjalainen, P. Antsalo, A. Makivirta, T. Peltonen, V. Valimaki, "Estimation of modal
decay parameters from noisy response measurements", J. Audio Eng. Soc. 50 (2002)
867-878: the decay and the noise are fitted together (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.basics.arrays import Complex, Float

N_STEPS: Final = 6
"""Gauss-Newton steps; from the pencil's poles it settles in two to four."""

SETTLED: Final = 1e-5
"""Steps end when no exponent moves further: far below any uncertainty."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class DampedModes:
    """Modes fitted to a narrow band.

    Attributes
    ----------
    exponents : ndarray of complex, shape (k,)
        Logarithm of each pole: minus decay plus i times turn, per sample.
    amplitudes : ndarray of complex, shape (k,)
        At the first sample.
    residual_power : float
        Sum of squares of what the modes leave, over `n_free`.
    n_free : int
        Samples less parameters.
    """

    exponents: Complex
    amplitudes: Complex
    residual_power: float
    n_free: int


def pencil_modes(samples: Complex, n_most: int) -> tuple[DampedModes, ...]:
    """Return fits of one, two and up to `n_most` modes by the matrix pencil.

    Parameters
    ----------
    samples : ndarray of complex, shape (n,)
        The narrow band.
    n_most : int
        At least 1.

    Returns
    -------
    tuple of DampedModes
        Fewer than `n_most` where the samples are too few, or poles coincide.
    """
    n_most = min(n_most, (samples.size - 2) // 3)
    if n_most < 1 or not np.any(samples):
        return ()
    hankel = np.lib.stride_tricks.sliding_window_view(samples, samples.size // 3 + 1)
    # The strongest directions of the rows span the sequences p^n.
    _, vectors = np.linalg.eigh(hankel.T @ hankel.conj())
    fits = []
    for n_modes in range(1, n_most + 1):
        space = vectors[:, -n_modes:]
        try:
            poles = np.linalg.eigvals(_solve_normal_equations(space[:-1], space[1:]))
            exponents = np.log(np.where(np.abs(poles) < 1e-6, 1e-6, poles))
            fits.append(_modes_of_exponents(samples, exponents))
        except np.linalg.LinAlgError:
            break
    return tuple(fits)


def refine_modes(samples: Complex, modes: DampedModes) -> DampedModes | None:
    """Return the modes after Gauss-Newton steps toward least squares.

    Parameters
    ----------
    samples : ndarray of complex, shape (n,)

    Returns
    -------
    DampedModes or None
        ``None`` where poles came to coincide.
    """
    exponents, amplitudes = modes.exponents, modes.amplitudes
    try:
        for _ in range(N_STEPS):
            step = _gauss_newton_step(samples, exponents, amplitudes)
            amplitudes = amplitudes + step[: exponents.size]
            exponents = exponents + step[exponents.size :]
            exponents = np.clip(exponents.real, -3, 0.3) + 1j * exponents.imag
            if np.max(np.abs(step[exponents.size :])) < SETTLED:
                break
        return _modes_of_exponents(samples, exponents)
    except np.linalg.LinAlgError:
        return None


def exponent_std(modes: DampedModes, noise_covariance: Float) -> Float | None:
    """Return one sigma of the real part of each exponent, which is that of the imaginary part.

    Parameters
    ----------
    noise_covariance : ndarray, shape (n, n)
        Expected product of the noise of two samples, one conjugated.

    Returns
    -------
    ndarray, shape (k,), or None
        ``None`` where poles coincide.
    """
    basis = _unit_modes(modes.exponents, noise_covariance.shape[0])
    adjoint = _derivatives(basis, modes.amplitudes).conj().T
    try:
        inverse = np.linalg.solve(adjoint @ adjoint.conj().T, adjoint)[modes.exponents.size :]
    except np.linalg.LinAlgError:
        return None
    variance = np.real(np.sum((inverse @ noise_covariance) * inverse.conj(), axis=1))
    # Circular noise: the variance is shared by the real and the imaginary part.
    return np.asarray(np.sqrt(np.maximum(variance, 0) / 2))


def _modes_of_exponents(samples: Complex, exponents: Complex) -> DampedModes:
    """Return the modes of given exponents with their best amplitudes."""
    basis = _unit_modes(exponents, samples.size)
    amplitudes = _solve_normal_equations(basis, samples)
    residual = samples - basis @ amplitudes
    n_free = samples.size - 2 * exponents.size
    return DampedModes(
        exponents=exponents,
        amplitudes=amplitudes,
        residual_power=float(np.vdot(residual, residual).real) / n_free,
        n_free=n_free,
    )


def _unit_modes(exponents: Complex, n_samples: int) -> Complex:
    """Return the modes of amplitude 1, shape (n, k)."""
    return np.asarray(np.exp(np.arange(n_samples)[:, None] * exponents))


def _solve_normal_equations(design: Complex, samples: Complex) -> Complex:
    """Return the solution of the normal equations: small, and good enough for a step."""
    adjoint = design.conj().T
    return np.asarray(np.linalg.solve(adjoint @ design, adjoint @ samples))


def _derivatives(basis: Complex, amplitudes: Complex) -> Complex:
    """Return the derivatives of the model by amplitudes and exponents, shape (n, 2 k)."""
    slope = basis * amplitudes * np.arange(basis.shape[0])[:, None]
    return np.concatenate((basis, slope), axis=1)


def _gauss_newton_step(samples: Complex, exponents: Complex, amplitudes: Complex) -> Complex:
    """Return the Gauss-Newton step of amplitudes and exponents, shape (2 k,).

    It is shortened where an exponent would move by more than a tenth.
    """
    basis = _unit_modes(exponents, samples.size)
    step = _solve_normal_equations(_derivatives(basis, amplitudes), samples - basis @ amplitudes)
    largest = float(np.max(np.abs(step[exponents.size :])))
    return np.asarray(step / max(1.0, largest / 0.1))
