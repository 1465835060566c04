r"""A network of points in space and the observations between them, as functions of unknowns.

Conventions: coordinates x, y, z in metres, z up; *plan* means x and y alone. The places of
the nodes are a linear function of the unknowns, so that a node may be the middle of two
points, lie on a line, or share its height with another:

.. math:: X = S q + c.

An *observation* is a number that a person took, in metres or radians, with the standard deviation
of the instrument. A residual is fitted minus read, as in geodesy.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from analysis.basics.arrays import Float
from analysis.survey.observation_equations import N_NODES, Kind, observe

Jacobian = Float | sparse.csr_array
"""Derivatives by the unknowns, dense for a small network, sparse for a large one."""

DENSE_UNKNOWNS: Final = 200
"""Up to so many unknowns dense algebra is faster: a sparse product costs a tenth of a
millisecond before it begins."""


@dataclass(frozen=True, kw_only=True, slots=True)
class NetworkObservation:
    """One observation between nodes.

    Attributes
    ----------
    kind : str
        ``distance``: between two nodes, heights included. ``perpendicular``: in plan, of the
        first node from the line through the second and third. ``along``: in plan, of the
        first node's foot on that line, from the second node toward the third. ``height``: z.
        ``equal``: first to second less third to fourth. ``angle``: in plan, at the second
        node between the first and the third, 0 to pi.
    nodes : tuple of int
        Indices, in the order of `kind`.
    value : float
        In metres or radians.
    std : float
        One sigma, above 0.
    sign : int
        Of a perpendicular: 1 where the node lies to the right, looking from the second to the
        third with x to the right and y upward, else -1.
    """

    kind: Kind
    nodes: tuple[int, ...]
    value: float
    std: float
    sign: int = 1

    def __post_init__(self) -> None:
        if len(self.nodes) != N_NODES[self.kind]:
            msg = f"nodes {self.nodes} of a {self.kind} must be {N_NODES[self.kind]}"
            raise ValueError(msg)
        if not (self.std > 0 and np.isfinite(self.value)):
            msg = f"value {self.value} must be a number and std {self.std} above 0"
            raise ValueError(msg)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _Block:
    """The observations of one kind."""

    kind: Kind
    rows: NDArray[np.intp]
    nodes: NDArray[np.intp]
    sign: Float


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Network:
    """Nodes and observations.

    Attributes
    ----------
    node_map : sparse array, shape (3 n_nodes, n_unknowns)
        S, in metres per unit of the unknowns; rows x, y, z of the first node, and so on.
    constant_m : ndarray, shape (3 n_nodes,)
        c.
    value, std : ndarray, shape (n_observations,)
    blocks : tuple
        The observations by kind.
    dense_map : ndarray or None
        S again, for small networks.
    """

    node_map: sparse.csr_array
    constant_m: Float
    observations: tuple[NetworkObservation, ...]
    value: Float
    std: Float
    blocks: tuple[_Block, ...]
    dense_map: Float | None

    @property
    def n_nodes(self) -> int:
        """How many nodes there are."""
        return self.constant_m.size // 3

    @property
    def n_unknowns(self) -> int:
        """How many numbers are looked for."""
        return int(self.node_map.shape[1])

    def positions(self, unknowns: Float) -> Float:
        """Return the nodes' coordinates in metres, shape (n_nodes, 3)."""
        node_map = self.node_map if self.dense_map is None else self.dense_map
        return np.asarray(node_map @ unknowns + self.constant_m).reshape(-1, 3)


def build_network(
    node_map: sparse.csr_array, constant_m: Float, observations: Sequence[NetworkObservation]
) -> Network:
    """Return a network.

    Parameters
    ----------
    node_map : sparse array, shape (3 n_nodes, n_unknowns)
    constant_m : ndarray, shape (3 n_nodes,)

    Raises
    ------
    ValueError
        If the shapes don't fit, or an observation names a node that isn't there.
    """
    if node_map.shape[0] != constant_m.size or constant_m.size % 3:
        msg = f"node_map of shape {node_map.shape} must have {constant_m.size} rows, 3 a node"
        raise ValueError(msg)
    n_nodes = constant_m.size // 3
    if any(not 0 <= node < n_nodes for one in observations for node in one.nodes):
        msg = f"observations name a node outside 0 to {n_nodes - 1}"
        raise ValueError(msg)
    return Network(
        node_map=node_map,
        constant_m=np.array(constant_m, dtype=np.float64),
        observations=tuple(observations),
        value=np.array([one.value for one in observations], dtype=np.float64),
        std=np.array([one.std for one in observations], dtype=np.float64),
        blocks=tuple(_group_by_kind(observations)),
        dense_map=node_map.toarray() if node_map.shape[1] <= DENSE_UNKNOWNS else None,
    )


def _group_by_kind(observations: Sequence[NetworkObservation]) -> list[_Block]:
    """Return the observations by kind."""
    blocks = []
    for kind in N_NODES:
        rows = [row for row, one in enumerate(observations) if one.kind == kind]
        if rows:
            blocks.append(
                _Block(
                    kind=kind,
                    rows=np.array(rows, dtype=np.intp),
                    nodes=np.array([observations[row].nodes for row in rows], dtype=np.intp),
                    sign=np.array([observations[row].sign for row in rows], dtype=np.float64),
                )
            )
    return blocks


def orient_perpendiculars(network: Network, positions_m: Float) -> Network:
    """Return the network with each perpendicular's sign as it is at these places.

    Parameters
    ----------
    positions_m : ndarray, shape (n_nodes, 3)

    Returns
    -------
    Network
        Observations of 0 or below keep their sign: they are meant with it.
    """
    observations = []
    for one in network.observations:
        if one.kind == "perpendicular" and one.value > 0:
            values, _ = observe(one.kind, positions_m[np.array([one.nodes])], np.ones(1))
            observations.append(replace(one, sign=1 if values[0] >= 0 else -1))
        else:
            observations.append(one)
    return build_network(network.node_map, network.constant_m, observations)


def fitted_values(network: Network, positions_m: Float) -> Float:
    """Return what each observation would be at these places, shape (n_observations,)."""
    values = np.empty(len(network.observations))
    for block in network.blocks:
        values[block.rows] = observe(block.kind, positions_m[block.nodes], block.sign)[0]
    return values


def linearise(network: Network, positions_m: Float) -> tuple[Float, Jacobian]:
    """Return the observations at these places and their derivatives by the unknowns.

    Parameters
    ----------
    positions_m : ndarray, shape (n_nodes, 3)

    Returns
    -------
    values : ndarray, shape (n_observations,)
    jacobian : ndarray or sparse array, shape (n_observations, n_unknowns)
    """
    values = np.empty(len(network.observations))
    if network.dense_map is not None:
        by_node = np.zeros((values.size, network.n_nodes, 3))
        for block in network.blocks:
            values[block.rows], slopes = observe(block.kind, positions_m[block.nodes], block.sign)
            for end in range(slopes.shape[1]):
                # One end at a time: a node may be both ends of an equal pair.
                by_node[block.rows, block.nodes[:, end]] += slopes[:, end]
        return values, by_node.reshape(values.size, -1) @ network.dense_map
    data, rows, columns = [], [], []
    for block in network.blocks:
        values[block.rows], slopes = observe(block.kind, positions_m[block.nodes], block.sign)
        n_ends = block.nodes.shape[1]
        data.append(slopes.ravel())
        rows.append(np.repeat(block.rows, 3 * n_ends))
        columns.append((3 * block.nodes[:, :, None] + np.arange(3)).ravel())
    entries = (np.concatenate(data), (np.concatenate(rows), np.concatenate(columns)))
    shape = (values.size, network.constant_m.size)
    return values, sparse.csr_array(sparse.csr_array(entries, shape=shape) @ network.node_map)


def observation_slopes(
    network: Network, positions_m: Float, observations: Sequence[NetworkObservation]
) -> tuple[Float, Float]:
    """Return values and dense derivatives of observations that nobody took.

    Parameters
    ----------
    positions_m : ndarray, shape (n_nodes, 3)

    Returns
    -------
    values : ndarray, shape (n,)
    jacobian : ndarray, shape (n, n_unknowns)
    """
    other = build_network(network.node_map, network.constant_m, observations)
    values, jacobian = linearise(other, positions_m)
    return values, jacobian if isinstance(jacobian, np.ndarray) else jacobian.toarray()
