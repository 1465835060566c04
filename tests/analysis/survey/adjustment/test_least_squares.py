"""Adjusted places, their covariance and their tests against textbooks and other methods."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
import pytest
from scipy import optimize, sparse, stats

from analysis.survey.adjustment import network as network_module
from analysis.survey.adjustment.least_squares import adjust, residual_correlation
from analysis.survey.adjustment.network import (
    Network,
    NetworkObservation,
    build_network,
    fitted_values,
)


def plane_network(
    known: list[tuple[float, float]],
    n_free: int,
    distances: dict[tuple[int, int], float],
    std: float | dict[tuple[int, int], float] = 1.0,
) -> Network:
    """Return a network in the plane: known points first, then free ones."""
    n_nodes = len(known) + n_free
    constant = np.zeros(3 * n_nodes)
    constant[: 3 * len(known)].reshape(-1, 3)[:, :2] = known
    entries = [
        (3 * (len(known) + k) + axis, 2 * k + axis) for k in range(n_free) for axis in range(2)
    ]
    rows, columns = zip(*entries, strict=True)
    node_map = sparse.csr_array(
        (np.ones(len(rows)), (rows, columns)), shape=(3 * n_nodes, 2 * n_free)
    )
    observations = [
        NetworkObservation(
            kind="distance",
            nodes=pair,
            value=value,
            std=std if isinstance(std, float) else std[pair],
        )
        for pair, value in distances.items()
    ]
    return build_network(node_map, constant, observations)


def test_distance_intersection_of_a_textbook() -> None:
    # Published example: Ghilani, Adjustment Computations, 5th ed. 2010, example 14.2: three
    # control stations and three distances in feet (figures second-hand, from two public pages;
    # the printed solution wasn't seen). Second method: scipy's curve_fit with a numerical
    # Jacobian, its covariance scaled by the variance factor as the book's standard errors are.
    known = [(865.40, 4527.15), (2432.55, 2047.25), (2865.22, 27.15)]
    distances = {(0, 3): 6049.00, (1, 3): 4736.83, (2, 3): 5446.49}
    adjusted = adjust(plane_network(known, 1, distances), np.array([6865.0, 3728.0]))

    def ranges(stations: np.ndarray, x: float, y: float) -> np.ndarray:
        return np.hypot(x - stations[0], y - stations[1])

    place, covariance = optimize.curve_fit(
        ranges, np.array(known).T, list(distances.values()), p0=(6865.0, 3728.0)
    )
    assert adjusted.unknowns == pytest.approx(place, abs=1e-5)
    factor = adjusted.variance_factor
    assert factor is not None
    assert factor * adjusted.covariance == pytest.approx(covariance, rel=1e-4)
    # And as worked by hand from the book's normal equations: a tenth of a foot.
    assert math.sqrt(factor) == pytest.approx(0.0977, abs=2e-4)
    assert adjusted.unknowns == pytest.approx((6861.317, 3727.819), abs=1e-3)


def test_three_anchors_of_a_textbook() -> None:
    # Published example: trilateration from (0, 0), (0, 30), (35, 18) gives (40, 30) exactly.
    network = plane_network(
        [(0, 0), (0, 30), (35, 18)], 1, {(0, 3): 50.0, (1, 3): 40.0, (2, 3): 13.0}
    )
    adjusted = adjust(network, np.array([30.0, 20.0]))
    assert adjusted.unknowns == pytest.approx((40, 30), abs=1e-8)
    assert adjusted.chi_square == pytest.approx(0, abs=1e-12)


def test_two_anchors_of_a_textbook() -> None:
    # Published example: base 6000, distances 5050 and 2420: (4637.18, 1999.78); the book's
    # (4638, 1998) rounds the angle. Nothing is left over, so nothing can be checked.
    network = plane_network([(0, 0), (6000, 0)], 1, {(0, 2): 5050.0, (1, 2): 2420.0})
    adjusted = adjust(network, np.array([4000.0, 1000.0]))
    assert adjusted.unknowns == pytest.approx((4637.18, 1999.78), abs=0.01)
    assert adjusted.degrees_of_freedom == 0
    assert adjusted.variance_factor is None
    assert adjusted.redundancy == pytest.approx(0, abs=1e-9)


def test_a_triangle_has_herons_area() -> None:
    # Closed form: Heron's formula for the sides 13, 14, 15 gives 84.
    constant = np.zeros(9)
    node_map = sparse.csr_array((np.ones(3), ([3, 6, 7], [0, 1, 2])), shape=(9, 3))
    observations = [
        NetworkObservation(kind="distance", nodes=pair, value=side, std=1)
        for pair, side in (((0, 1), 14.0), ((0, 2), 13.0), ((1, 2), 15.0))
    ]
    adjusted = adjust(build_network(node_map, constant, observations), np.array([10.0, 4.0, 9.0]))
    base, _, height = adjusted.unknowns
    assert base * height / 2 == pytest.approx(84, abs=1e-9)


def test_repeated_readings_are_averaged() -> None:
    # Closed form: the weighted mean, its variance, and each redundancy 1 - p / sum(p).
    values, std = np.array([1.000, 1.002, 1.007, 0.999]), np.array([1e-3, 2e-3, 1e-3, 4e-3])
    node_map = sparse.csr_array(([1.0], ([2], [0])), shape=(3, 1))
    observations = [
        NetworkObservation(kind="height", nodes=(0,), value=float(v), std=float(s))
        for v, s in zip(values, std, strict=True)
    ]
    adjusted = adjust(build_network(node_map, np.zeros(3), observations), np.zeros(1))
    weight = 1 / std**2
    assert adjusted.unknowns[0] == pytest.approx(np.average(values, weights=weight), abs=1e-12)
    assert adjusted.covariance[0, 0] == pytest.approx(1 / weight.sum())
    assert adjusted.redundancy == pytest.approx(1 - weight / weight.sum())


def square_with_noise(seed: int) -> tuple[Network, np.ndarray]:
    """Return a network of two known and four free points, all pairs measured."""
    rng = np.random.default_rng(seed)
    places = np.array([[0, 0], [4, 0], [4, 3], [0, 3], [2, 1], [1, 2]], float)
    std = {pair: float(rng.uniform(1e-3, 3e-3)) for pair in combinations(range(6), 2)}
    distances = {
        (a, b): float(np.linalg.norm(places[a] - places[b]) + std[a, b] * rng.standard_normal())
        for a, b in std
    }
    network = plane_network([(0, 0), (4, 0)], 4, distances, std)
    return network, places[2:].ravel()


@pytest.mark.parametrize("dense", [True, False])
def test_places_and_covariance_against_scipy(dense: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    # Second method: scipy's least_squares with a numerical Jacobian; dense and sparse algebra.
    monkeypatch.setattr(network_module, "DENSE_UNKNOWNS", 200 if dense else 0)
    network, truth = square_with_noise(1)
    start = truth + np.random.default_rng(2).normal(0, 0.2, truth.size)
    adjusted = adjust(network, start)

    def misfit(unknowns: np.ndarray) -> np.ndarray:
        return (fitted_values(network, network.positions(unknowns)) - network.value) / network.std

    other = optimize.least_squares(misfit, start, jac="3-point", xtol=1e-15, ftol=1e-15, gtol=1e-15)
    assert adjusted.converged
    assert adjusted.unknowns == pytest.approx(other.x, abs=1e-8)
    assert adjusted.chi_square == pytest.approx(2 * other.cost, rel=1e-8)
    covariance = np.linalg.inv(other.jac.T @ other.jac)
    assert adjusted.covariance == pytest.approx(covariance, rel=1e-5, abs=1e-10)
    residual_covariance = np.eye(15) - other.jac @ covariance @ other.jac.T
    assert adjusted.redundancy == pytest.approx(np.diag(residual_covariance), abs=1e-5)
    spread = np.sqrt(np.diag(residual_covariance))
    correlation = residual_covariance[4] / spread / spread[4]
    assert residual_correlation(adjusted, 4) == pytest.approx(correlation, abs=1e-4)
    assert adjusted.redundancy.sum() == pytest.approx(adjusted.degrees_of_freedom)


def test_the_variance_factor_and_its_range() -> None:
    # Second method: scipy's chi-square distribution; and over draws the mean factor is 1.
    factors = []
    for seed in range(40):
        network, truth = square_with_noise(seed)
        adjusted = adjust(network, truth)
        factors.append(adjusted.variance_factor)
    freedom = adjusted.degrees_of_freedom
    assert freedom == 15 - 8
    limits = stats.chi2.ppf([0.025, 0.975], freedom) / freedom
    assert adjusted.variance_factor_range == pytest.approx(limits)
    # Forty means of seven: sigma 0.084.
    assert np.mean(factors) == pytest.approx(1, abs=0.3)


def test_what_nothing_fixes_is_found_and_does_no_harm() -> None:
    # Known input: a point with a single distance may turn about the other; its distance from
    # there is fixed all the same, and so is everything else.
    distances = {(0, 2): 3.0, (1, 2): 4.0, (2, 3): 2.0}
    network = plane_network([(0, 0), (5, 0)], 2, distances, 1e-3)
    adjusted = adjust(network, np.array([1.5, 2.0, 1.8, 4.0]))
    assert adjusted.open_directions.shape == (4, 1)
    moved = adjusted.open_directions[:, 0]
    assert moved[:2] == pytest.approx(0, abs=1e-9)
    away = adjusted.positions_m[3, :2] - adjusted.positions_m[2, :2]
    assert moved[2:] @ away == pytest.approx(0, abs=1e-6)
    assert adjusted.unknowns[:2] == pytest.approx((1.8, 2.4), abs=1e-6)
    assert np.sqrt(np.diag(adjusted.covariance))[:2] == pytest.approx((1e-3, 1e-3), rel=0.5)


def test_a_reading_set_aside_counts_for_nothing() -> None:
    # Invariant: without an observation, and with it set aside, the places are the same.
    network, truth = square_with_noise(4)
    active = np.ones(15, bool)
    active[7] = False
    aside = adjust(network, truth, active=active)
    fewer = build_network(
        network.node_map, network.constant_m, network.observations[:7] + network.observations[8:]
    )
    assert aside.unknowns == pytest.approx(adjust(fewer, truth).unknowns, abs=1e-9)
    assert aside.degrees_of_freedom == 6
    assert aside.redundancy[7] == 1
