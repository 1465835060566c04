r"""Where the points of a network stand, by least squares, and how far each can be trusted.

Minimised is :math:`\sum (v_i / \sigma_i)^2` over the residuals :math:`v`, fitted minus read,
by Gauss-Newton steps with Levenberg's damping. With the weighted derivatives
:math:`B = \Sigma^{-1/2} A`:

- the covariance of the unknowns is :math:`Q = (B^T B)^{-1}`, from the stated instruments and
  not rescaled;
- the redundancy number of an observation, :math:`r_i = 1 - (B Q B^T)_{ii}`, is the share of an
  error that shows in its own residual; they add up to the degrees of freedom;
- the standardised residual is :math:`w_i = v_i / (\sigma_i \sqrt{r_i})`;
- the variance factor is :math:`\sum (v_i/\sigma_i)^2 / f`, near 1 where the instruments are
  as good as stated; times f it is chi-square with f degrees of freedom.

What the observations leave open spans the null space of :math:`B`.

References
----------
W. Baarda, "A testing procedure for use in geodetic networks", Netherlands Geodetic
Commission 1968: redundancy numbers, standardised residuals (from memory).
K. Levenberg, Quart. Appl. Math. 2, 164, 1944: the damping (from memory).
C. D. Ghilani, "Adjustment Computations", 5th ed., Wiley 2010, ch. 13 and 16 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy import linalg, sparse, special
from scipy.sparse.linalg import splu

from analysis.basics.arrays import Float, Mask
from analysis.survey.adjustment.network import Jacobian, Network, fitted_values, linearise

MOST_STEPS: Final = 60
STOP_M: Final = 1e-8
"""A step below this ends the search: ten nanometres, where no tape sees anything."""

CAUCHY: Final = 3.0
"""Sigmas at which a misfit's weight is halved in the resistant solution."""

N_REWEIGHTED: Final = 12
"""Rounds of it: errors of a metre in surveys of 20 to 60 observations are let go of in six to
ten."""

FLOOR: Final = 1e-10
"""Share of the normal matrix's diagonal that is always added, so that an open direction stays
where it started instead of running away. It moves what is fixed by less than `STOP_M`."""

OPEN: Final = 1e-6
"""Singular values of the scaled derivatives below this share of the largest are open: a
micrometre a metre, where the observations give a hundred."""

SUSPECT: Final = 1e-9
"""Pivots of the scaled normal matrix below this share of the largest are looked at closely."""

GLOBAL_TEST: Final = 0.05
"""Chance that a clean survey fails the test of the variance factor. Common practice."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Adjustment:
    """An adjusted network.

    Attributes
    ----------
    active : ndarray of bool, shape (n_observations,)
        Which observations were used.
    unknowns : ndarray, shape (n_unknowns,)
    positions_m : ndarray, shape (n_nodes, 3)
    covariance : ndarray, shape (n_unknowns, n_unknowns)
        Without the directions that are open.
    open_directions : ndarray, shape (n_unknowns, n_open)
        What nothing fixes; orthonormal columns.
    residual : ndarray, shape (n_observations,)
        Fitted minus read, in metres or radians; also of observations that weren't used.
    fitted_std : ndarray, shape (n_observations,)
        One sigma of each fitted value.
    redundancy : ndarray, shape (n_observations,)
        0 to 1; 1 for observations that weren't used.
    standardised : ndarray, shape (n_observations,)
        w of used observations; 0 where nothing checks it, and for the others.
    """

    network: Network
    active: Mask
    unknowns: Float
    positions_m: Float
    covariance: Float
    open_directions: Float
    residual: Float
    fitted_std: Float
    redundancy: Float
    standardised: Float
    degrees_of_freedom: int
    chi_square: float
    converged: bool

    @property
    def variance_factor(self) -> float | None:
        """Chi-square over the degrees of freedom; None without any."""
        return self.chi_square / self.degrees_of_freedom if self.degrees_of_freedom else None

    @property
    def variance_factor_range(self) -> tuple[float, float] | None:
        """Between which it lies in 95 of 100 clean surveys."""
        freedom = self.degrees_of_freedom
        if not freedom:
            return None
        low, high = special.chdtri(freedom, [1 - GLOBAL_TEST / 2, GLOBAL_TEST / 2]) / freedom
        return float(low), float(high)

    def weighted_jacobian(self) -> Jacobian:
        """Return B, shape (n_observations, n_unknowns); rows not used are 0."""
        _, jacobian = linearise(self.network, self.positions_m)
        return _scale_rows(jacobian, self.active / self.network.std)


def solve_unknowns(
    network: Network, start: Float, *, active: Mask | None = None, n_steps: int = MOST_STEPS
) -> tuple[Float, float, bool]:
    """Return the unknowns of the least sum of squares near a start.

    Parameters
    ----------
    start : ndarray, shape (n_unknowns,)
    active : ndarray of bool, optional
        Observations to use; by default all.

    Returns
    -------
    unknowns : ndarray
    chi_square : float
    converged : bool
    """
    weight = 1 / network.std if active is None else active / network.std
    unknowns, damping = np.array(start), 1e-4
    misfit, jacobian = _linearise_weighted(network, unknowns, weight)
    chi_square = float(misfit @ misfit)
    for _ in range(n_steps):
        normal = jacobian.T @ jacobian
        diagonal = normal.diagonal()
        diagonal = np.maximum(diagonal, 1e-12 * max(float(diagonal.max()), 1e-12))
        step = _solve_normal(normal, diagonal * (damping + FLOOR), jacobian.T @ misfit)
        tried = unknowns + step
        misfit_after = (network.value - fitted_values(network, network.positions(tried))) * weight
        after = float(misfit_after @ misfit_after)
        if after <= chi_square * (1 + 1e-12) + 1e-18:
            small = float(np.abs(step).max(initial=0)) < STOP_M
            unknowns, chi_square, damping = tried, after, damping * 0.05
            if small:
                return unknowns, chi_square, True
            misfit, jacobian = _linearise_weighted(network, unknowns, weight)
        else:
            damping = max(damping, 1e-6) * 10
            if damping > 1e12:
                return unknowns, chi_square, float(np.abs(step).max()) < STOP_M
    return unknowns, chi_square, False


def robust_unknowns(network: Network, start: Float) -> Float:
    """Return unknowns that no single observation pulls far.

    Parameters
    ----------
    start : ndarray, shape (n_unknowns,)

    Returns
    -------
    ndarray, shape (n_unknowns,)

    Notes
    -----
    Iteratively reweighted least squares with Cauchy's weights 1 / (1 + (r / c)^2).
    """
    unknowns = start
    for _ in range(N_REWEIGHTED):
        fitted = fitted_values(network, network.positions(unknowns))
        misfit = (network.value - fitted) / network.std
        std = network.std * np.sqrt(1 + (misfit / CAUCHY) ** 2)
        unknowns, _, _ = solve_unknowns(replace(network, std=std), unknowns, n_steps=5)
    return unknowns


def _linearise_weighted(network: Network, unknowns: Float, weight: Float) -> tuple[Float, Jacobian]:
    """Return weighted misfits, read minus fitted, and derivatives."""
    values, jacobian = linearise(network, network.positions(unknowns))
    return (network.value - values) * weight, _scale_rows(jacobian, weight)


def _scale_rows(jacobian: Jacobian, weight: Float) -> Jacobian:
    """Return the derivatives with each row times its weight."""
    if isinstance(jacobian, np.ndarray):
        return jacobian * weight[:, None]
    return sparse.csr_array(jacobian.multiply(weight[:, None]))


def _solve_normal(
    normal: Float | sparse.csr_array | sparse.csc_array, added: Float, right: Float
) -> Float:
    """Return the solution of the normal equations with something added to the diagonal."""
    if isinstance(normal, np.ndarray):
        factor = linalg.cho_factor(normal + np.diag(added), check_finite=False)
        return np.asarray(linalg.cho_solve(factor, right, check_finite=False))
    matrix = (normal + sparse.diags_array(added)).tocsc()
    return np.asarray(splu(matrix, permc_spec="MMD_AT_PLUS_A").solve(right))


def adjust(network: Network, start: Float, *, active: Mask | None = None) -> Adjustment:
    """Adjust a network.

    Parameters
    ----------
    start : ndarray, shape (n_unknowns,)
        Near enough that no point stands in its mirror image.
    active : ndarray of bool, optional
        Observations to use; by default all.
    """
    used = np.ones(len(network.observations), bool) if active is None else active.astype(bool)
    unknowns, chi_square, converged = solve_unknowns(network, start, active=used)
    positions_m = network.positions(unknowns)
    values, jacobian = linearise(network, positions_m)
    covariance, open_directions = _covariance_and_open(_scale_rows(jacobian, used / network.std))
    fitted_var = _fitted_variances(jacobian, covariance)
    redundancy = np.where(used, 1 - fitted_var / network.std**2, 1.0).clip(0, 1)
    residual = values - network.value
    checked = used & (redundancy > 1e-6)
    scale = network.std * np.sqrt(np.where(checked, redundancy, 1.0))
    return Adjustment(
        network=network,
        active=used,
        unknowns=unknowns,
        positions_m=positions_m,
        covariance=covariance,
        open_directions=open_directions,
        residual=residual,
        fitted_std=np.sqrt(fitted_var.clip(0)),
        redundancy=redundancy,
        standardised=np.where(checked, residual / scale, 0.0),
        degrees_of_freedom=int(used.sum()) - network.n_unknowns + open_directions.shape[1],
        chi_square=chi_square,
        converged=converged,
    )


def _fitted_variances(jacobian: Jacobian, covariance: Float) -> Float:
    """Return the variances of the fitted observations."""
    product = jacobian @ covariance
    if isinstance(jacobian, np.ndarray):
        return np.asarray(np.einsum("ij,ij->i", product, jacobian))
    return np.asarray(jacobian.multiply(product).sum(axis=1), dtype=np.float64).ravel()


def _covariance_and_open(weighted: Jacobian) -> tuple[Float, Float]:
    """Return the covariance of the unknowns and the directions that are open."""
    normal = weighted.T @ weighted
    diagonal = normal.diagonal()
    scale = 1 / np.sqrt(np.where(diagonal > 0, diagonal, 1.0))
    inverse = _regular_inverse(normal, scale)
    if inverse is not None:
        return scale[:, None] * inverse * scale, np.zeros((scale.size, 0))
    dense = normal if isinstance(normal, np.ndarray) else normal.toarray()
    values, vectors = np.linalg.eigh(scale[:, None] * dense * scale)
    is_open = values < OPEN**2 * values[-1]
    kept = vectors[:, ~is_open]
    inverse = (kept / values[~is_open]) @ kept.T
    directions, _ = np.linalg.qr(scale[:, None] * vectors[:, is_open])
    return scale[:, None] * inverse * scale, directions


def _regular_inverse(
    normal: Float | sparse.csr_array | sparse.csc_array, scale: Float
) -> Float | None:
    """Return the inverse of the scaled normal matrix; None where it is nearly singular."""
    if isinstance(normal, np.ndarray):
        factor, failed = linalg.lapack.dpotrf(scale[:, None] * normal * scale, lower=1)
        pivots = np.diag(factor) ** 2
        if failed or pivots.min() < SUSPECT * pivots.max():
            return None
        inverse, _ = linalg.lapack.dpotri(factor, lower=1)
        lower = np.tril(inverse)
        return np.asarray(lower + np.tril(lower, -1).T)
    scaled = sparse.diags_array(scale) @ normal @ sparse.diags_array(scale)
    try:
        factors = splu(scaled.tocsc(), permc_spec="MMD_AT_PLUS_A")
    except RuntimeError:
        return None
    pivots = np.abs(factors.U.diagonal())
    if pivots.min() < SUSPECT * pivots.max():
        return None
    return np.asarray(factors.solve(np.eye(scale.size)))


def residual_correlation(adjustment: Adjustment, row: int) -> Float:
    """Return how the residuals correlate with one of them.

    Returns
    -------
    ndarray, shape (n_observations,)
        -1 to 1; 0 for observations that nothing checks or that weren't used.
    """
    weighted = adjustment.weighted_jacobian()
    own = weighted[[row]] if isinstance(weighted, np.ndarray) else weighted[[row]].toarray()
    cofactor = -np.asarray(weighted @ (adjustment.covariance @ own[0]))
    cofactor[row] += 1.0
    spread = np.sqrt(adjustment.redundancy * adjustment.redundancy[row])
    seen = adjustment.active & (adjustment.redundancy > 1e-6) & (adjustment.redundancy[row] > 1e-6)
    return np.where(seen, cofactor / np.where(seen, spread, 1.0), 0.0)
