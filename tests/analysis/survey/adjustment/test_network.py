"""The observations' values and slopes against closed forms and numerical differentiation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import sparse

from analysis.survey.adjustment import network as network_module
from analysis.survey.adjustment.network import (
    Network,
    NetworkObservation,
    build_network,
    fitted_values,
    linearise,
    orient_perpendiculars,
)

KINDS = {
    "distance": (0, 1),
    "perpendicular": (0, 1, 2),
    "along": (0, 1, 2),
    "height": (3,),
    "equal": (0, 1, 0, 2),
    "angle": (1, 0, 3),
}


def free_network(observations: list[NetworkObservation], n_nodes: int = 4) -> Network:
    """Return a network in which every coordinate is an unknown."""
    size = 3 * n_nodes
    return build_network(sparse.eye_array(size, format="csr"), np.zeros(size), observations)


def all_kinds() -> Network:
    return free_network(
        [
            NetworkObservation(kind=kind, nodes=nodes, value=1.0, std=0.01)
            for kind, nodes in KINDS.items()
        ]  # type: ignore[arg-type]
    )


def test_values_of_a_known_figure() -> None:
    # Closed form: a 3-4-5 triangle in plan, one node a unit above another.
    places = np.array([[3.0, 4.0, 0.0], [0.0, 0.0, 0.0], [3.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    observations = [
        NetworkObservation(kind="distance", nodes=(0, 1), value=5, std=1),
        NetworkObservation(kind="perpendicular", nodes=(0, 1, 2), value=4, std=1),
        NetworkObservation(kind="along", nodes=(0, 1, 2), value=3, std=1),
        NetworkObservation(kind="height", nodes=(3,), value=1, std=1),
        NetworkObservation(kind="equal", nodes=(0, 1, 0, 2), value=0, std=1),
        NetworkObservation(kind="angle", nodes=(0, 1, 2), value=1, std=1),
        NetworkObservation(kind="distance", nodes=(0, 3), value=1, std=1),
    ]
    network = orient_perpendiculars(free_network(observations), places)
    expected = [5, 4, 3, 1, 1, math.atan2(4, 3), math.sqrt(26)]
    assert fitted_values(network, places) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("dense", [True, False])
def test_slopes_against_central_differences(dense: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    # Second method: differences of the values, for every kind at once; dense and sparse.
    monkeypatch.setattr(network_module, "DENSE_UNKNOWNS", 200 if dense else 0)
    places = np.random.default_rng(3).normal(size=(4, 3))
    network = all_kinds()
    values, jacobian = linearise(network, places)
    table = jacobian if isinstance(jacobian, np.ndarray) else jacobian.toarray()
    assert isinstance(jacobian, np.ndarray) is dense
    assert values == pytest.approx(fitted_values(network, places), abs=0)
    for k in range(12):
        step = np.zeros(12)
        step[k] = 1e-6
        ahead, behind = (
            fitted_values(network, places + sign * step.reshape(4, 3)) for sign in (1, -1)
        )
        assert table[:, k] == pytest.approx((ahead - behind) / 2e-6, abs=1e-8)


def test_plan_readings_ignore_height_and_all_ignore_where_the_room_lies() -> None:
    # Invariant: a turn about the vertical and a shift change no observation but heights.
    rng = np.random.default_rng(5)
    places = rng.normal(size=(4, 3))
    network = all_kinds()
    cosine, sine = math.cos(0.7), math.sin(0.7)
    turn = np.array([[cosine, -sine, 0], [sine, cosine, 0], [0, 0, 1]])
    turned = places @ turn.T + [3.0, -2.0, 0.0]
    assert fitted_values(network, turned) == pytest.approx(fitted_values(network, places))
    raised = places + [0, 0, 1] * rng.normal(size=(4, 1))
    values, after = fitted_values(network, places), fitted_values(network, raised)
    for row in (1, 2, 5):
        assert after[row] == pytest.approx(values[row])


def test_orientation_keeps_a_perpendicular_that_is_said_to_be_none() -> None:
    # Known input: a point to the left; an observation of 0 keeps its sign, another follows.
    places = np.array([[-1.0, 1.0, 0], [0, 0, 0], [0, 1, 0]])
    pair = [
        NetworkObservation(kind="perpendicular", nodes=(0, 1, 2), value=value, std=1)
        for value in (1.0, 0.0)
    ]
    signs = [one.sign for one in orient_perpendiculars(free_network(pair, 3), places).observations]
    assert signs == [-1, 1]


def test_what_cannot_be_a_network_is_refused() -> None:
    with pytest.raises(ValueError, match="must be 2"):
        NetworkObservation(kind="distance", nodes=(0, 1, 2), value=1, std=1)
    with pytest.raises(ValueError, match="std 0"):
        NetworkObservation(kind="distance", nodes=(0, 1), value=1, std=0)
    with pytest.raises(ValueError, match="outside 0 to 3"):
        free_network([NetworkObservation(kind="height", nodes=(4,), value=1, std=1)])
    with pytest.raises(ValueError, match="rows"):
        build_network(sparse.eye_array(4, format="csr"), np.zeros(6), [])
