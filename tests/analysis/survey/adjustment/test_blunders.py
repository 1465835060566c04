"""Wrong observations are found and named; clean ones are left alone."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import sparse, stats

from analysis.survey.adjustment.blunders import critical_value, search_blunders
from analysis.survey.adjustment.network import Network, NetworkObservation, build_network

PLACES = np.array([[0, 0], [4, 0], [4, 3], [0, 3], [2, 1], [1, 2]], float)
PAIRS = [(a, b) for a in range(6) for b in range(a)]


def network_of(noise: np.ndarray, std: float = 1e-3) -> tuple[Network, np.ndarray]:
    """Return all pairs of six points, two of them known, with this noise in sigmas."""
    node_map = sparse.csr_array(
        (np.ones(8), ([6, 7, 9, 10, 12, 13, 15, 16], range(8))), shape=(18, 8)
    )
    constant = np.zeros(18)
    constant[3] = 4.0
    observations = [
        NetworkObservation(
            kind="distance",
            nodes=pair,
            value=float(np.linalg.norm(PLACES[pair[0]] - PLACES[pair[1]]) + std * sigma),
            std=std,
        )
        for pair, sigma in zip(PAIRS, noise, strict=True)
    ]
    return build_network(node_map, constant, observations), PLACES[2:].ravel()


def test_the_critical_value() -> None:
    # Published table: Baarda's 3.29 for a chance of 0.001 in one test, and the normal 1.96;
    # second method: scipy's normal distribution with Sidak's bound.
    assert critical_value(1, false_alarm=0.001) == pytest.approx(3.29, abs=0.005)
    assert critical_value(1, false_alarm=0.05) == pytest.approx(1.96, abs=0.005)
    each = 1 - (1 - 0.03) ** (1 / 60)
    assert critical_value(60) == pytest.approx(stats.norm.isf(each / 2))


def test_a_planted_blunder_is_named_with_what_it_should_have_been() -> None:
    # Known input: one observation 20 sigmas wrong.
    noise = np.random.default_rng(1).standard_normal(15)
    noise[6] += 20
    network, start = network_of(noise)
    adjusted, (blunder,) = search_blunders(network, start)
    assert blunder.row == 6
    true_m = np.linalg.norm(PLACES[PAIRS[6][0]] - PLACES[PAIRS[6][1]])
    assert blunder.given - true_m == pytest.approx(1e-3 * noise[6])
    assert abs(blunder.expected - true_m) < 3 * blunder.expected_std
    assert not adjusted.active[6]


def test_two_blunders_are_named_and_nothing_else() -> None:
    # Known input: two observations wrong; the second spoils others until it is set aside too.
    noise = np.random.default_rng(3).standard_normal(15)
    noise[2] += 40
    noise[11] -= 25
    network, start = network_of(noise)
    _, blunders = search_blunders(network, start)
    assert {one.row for one in blunders} == {2, 11}


def test_how_often_a_clean_network_is_blamed() -> None:
    # Invariant of the test's own level: 3 % of clean networks, within the draws' chance.
    rng = np.random.default_rng(7)
    blamed = sum(bool(search_blunders(*network_of(rng.standard_normal(15)))[1]) for _ in range(150))
    # The bound is an upper one for correlated residuals; 0.03 x 150 = 4.5, three sigmas 6.3.
    assert blamed <= 11


def test_readings_that_cannot_be_told_apart_are_both_named() -> None:
    # Closed form: of two observations of one height their residuals correlate with -1.
    node_map = sparse.csr_array(([1.0], ([2], [0])), shape=(3, 1))
    pair = [
        NetworkObservation(kind="height", nodes=(0,), value=value, std=1e-3)
        for value in (1.0, 1.012)
    ]
    _, (blunder,) = search_blunders(build_network(node_map, np.zeros(3), pair), np.zeros(1))
    assert {blunder.row, *blunder.alternatives} == {0, 1}


def test_what_may_not_be_suspected_is_not_blamed() -> None:
    # Known input: the wrong observation is above suspicion, so another must bear it or none.
    noise = np.zeros(15)
    noise[6] = 30
    network, start = network_of(noise)
    suspects = np.ones(15, bool)
    suspects[6] = False
    _, blunders = search_blunders(network, start, suspects=suspects)
    assert 6 not in [one.row for one in blunders]
