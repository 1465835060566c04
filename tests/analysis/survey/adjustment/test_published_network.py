"""A geodetic network with published coordinates, standard errors and tests.

Published example, read: the manual of GNU Gama 2.29, section 2.19 (a network of 23 distances and
46 directions, taken there from F. Charamza's guide to Geodet/PC) and sections 5.4 to 5.6 (its
results). Coordinates in metres, x to the south, y to the west; directions in gons, 10 cc each;
distances 5 mm each. The manual's standard deviations are scaled by the empirical reference
standard deviation, as here by the root of the variance factor.

A set of directions has one unknown orientation. Here it is a node a metre from the station, in
a direction that is found: then each direction is an angle at the station from that node.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import pytest
from scipy import sparse

from analysis.survey.adjustment.least_squares import Adjustment, adjust
from analysis.survey.adjustment.network import NetworkObservation, build_network

GON = math.pi / 200
ORIGIN = np.array([1054980.484, 644498.590])
SECOND = np.array([1054933.801, 643654.101]) - ORIGIN

DIRECTIONS = {
    1: {2: 0.0, 422: 28.2057, 424: 60.4906, 403: 324.3662, 407: 382.8182},
    2: {
        **{1: 0.0, 407: 22.2376, 409: 73.8984, 411: 134.2090},
        **{416: 203.0706, 418: 287.2951, 420: 345.6928, 422: 368.9908},
    },
    403: {1: 0.0, 407: 313.5542},
    407: {1: 0.0, 403: 55.1013, 409: 193.3410, 2: 239.4204, 422: 323.5443},
    409: {2: 0.0, 407: 102.2575, 411: 310.1751},
    411: {2: 0.0, 409: 49.8647, 413: 291.4953, 416: 337.6667},
    413: {411: 0.0, 416: 295.3582},
    416: {2: 0.0, 411: 68.8065, 413: 117.9922, 418: 348.1606},
    418: {2: 0.0, 416: 63.9347, 420: 336.3190},
    420: {2: 0.0, 418: 77.9221, 422: 250.1804},
    422: {2: 0.0, 420: 26.8834, 424: 225.7964, 1: 259.2124, 407: 337.3724},
    424: {1: 0.0, 422: 134.2955},
}
DISTANCES = {
    **{(1, 2): 845.777, (1, 422): 493.793, (1, 424): 288.301, (1, 403): 388.536},
    **{(1, 407): 498.750, (2, 407): 388.562, (2, 409): 257.498, (2, 411): 360.282},
    **{(2, 416): 338.919, (2, 418): 292.094, (2, 420): 261.408, (2, 422): 452.249},
    **{(403, 407): 405.403, (407, 409): 281.997, (407, 422): 346.415, (409, 411): 296.281},
    **{(411, 413): 252.266, (411, 416): 360.449, (413, 416): 239.745, (416, 418): 389.397},
    **{(418, 420): 246.594, (420, 422): 228.207, (422, 424): 279.405},
}


def along(direction: float) -> np.ndarray:
    return np.array([math.cos(direction), math.sin(direction)])


def rough_places() -> tuple[dict[int, np.ndarray], dict[int, float]]:
    """Return places and orientations by carrying bearings from point to point."""
    places = {1: np.zeros(2), 2: SECOND}
    orientation: dict[int, float] = {}
    while len(places) < len(DIRECTIONS) or len(orientation) < len(DIRECTIONS):
        for station, targets in DIRECTIONS.items():
            seen = [target for target in targets if target in places]
            if station not in places or not seen:
                continue
            step = places[seen[0]] - places[station]
            orientation[station] = math.atan2(step[1], step[0]) - targets[seen[0]] * GON
            for target, value in targets.items():
                pair = (min(station, target), max(station, target))
                if target not in places and pair in DISTANCES:
                    bearing = orientation[station] + value * GON
                    places[target] = places[station] + DISTANCES[pair] * along(bearing)
    return places, orientation


@dataclass
class Table:
    """Node map, constants and start while they are put together."""

    places: dict[int, np.ndarray]
    coordinates: dict[int, list[tuple[int, int, float]]] = field(default_factory=dict)
    start: list[float] = field(default_factory=list)

    def unknown(self, value: float) -> int:
        """Add an unknown that starts at a value; return its index."""
        self.start.append(value)
        return len(self.start) - 1


def published_network(*, second_is_fixed: bool) -> tuple[Adjustment, list[tuple[str, int, int]]]:
    """Adjust it with point 1 fixed, and point 2 fixed or free along its bearing."""
    places, orientation = rough_places()
    stations = list(DIRECTIONS)
    table = Table(places)
    constant = np.zeros((2 * len(stations), 3))
    for point in stations:
        if point == 1:
            table.coordinates[point] = []
        elif point == 2:
            unit = SECOND / np.linalg.norm(SECOND)
            if second_is_fixed:
                constant[stations.index(2), :2] = SECOND
                table.coordinates[point] = []
            else:
                k = table.unknown(float(np.linalg.norm(SECOND)))
                table.coordinates[point] = [(axis, k, float(unit[axis])) for axis in (0, 1)]
        else:
            ks = [table.unknown(float(value)) for value in places[point]]
            table.coordinates[point] = [(axis, ks[axis], 1.0) for axis in (0, 1)]
    observations, labels = [], []
    entries: list[tuple[int, int, float]] = []
    for row, station in enumerate(stations):
        entries += [(3 * row + axis, k, factor) for axis, k, factor in table.coordinates[station]]
        zero = len(stations) + row
        # Turned so that no direction lies near it or opposite, where an angle has no sign.
        values = np.array(list(DIRECTIONS[station].values()))
        turn = max(
            range(0, 400, 5), key=lambda t: float(np.abs((values - t + 100) % 200 - 100).min())
        )
        bearing = orientation[station] + turn * GON
        constant[zero, :2] = constant[row, :2] + along(bearing)
        k = table.unknown(0.0)
        across = along(bearing + math.pi / 2)
        entries += [(3 * zero + axis, k, float(across[axis])) for axis in (0, 1)]
        entries += [(3 * zero + axis, k, factor) for axis, k, factor in table.coordinates[station]]
        for target, value in DIRECTIONS[station].items():
            angle = abs(((value - turn + 200) % 400) - 200) * GON
            nodes = (zero, row, stations.index(target))
            observations.append(
                NetworkObservation(kind="angle", nodes=nodes, value=angle, std=1e-3 * GON)
            )
            labels.append(("direction", station, target))
    for pair, value in DISTANCES.items():
        nodes = (stations.index(pair[0]), stations.index(pair[1]))
        observations.append(NetworkObservation(kind="distance", nodes=nodes, value=value, std=5e-3))
        labels.append(("distance", *pair))
    rows, columns, factors = zip(*entries, strict=True)
    shape = (constant.size, len(table.start))
    node_map = sparse.coo_array((factors, (rows, columns)), shape=shape).tocsr()
    network = build_network(node_map, constant.ravel(), observations)
    return adjust(network, np.array(table.start)), labels


def test_coordinates_and_standard_errors_as_published() -> None:
    adjusted, labels = published_network(second_is_fixed=True)
    factor = adjusted.variance_factor
    assert factor is not None
    scale = math.sqrt(factor)
    published = {
        422: ((1055167.22237, 644041.46142), (2.7, 2.5), (2.7, 2.5)),
        424: ((1055205.41142, 644318.24300), (3.1, 3.6), (3.7, 2.9)),
    }
    for point, (place, std_mm, axes_mm) in published.items():
        row = list(DIRECTIONS).index(point)
        assert adjusted.positions_m[row, :2] + ORIGIN == pytest.approx(place, abs=6e-6)
        slopes = adjusted.network.node_map[3 * row : 3 * row + 2].toarray()
        covariance = slopes @ adjusted.covariance @ slopes.T * factor * 1e6
        assert np.sqrt(np.diag(covariance)) == pytest.approx(std_mm, abs=0.05)
        assert np.sqrt(np.linalg.eigvalsh(covariance))[::-1] == pytest.approx(axes_mm, abs=0.05)
    # m0' 9.64 of 10; [pvv] 3435.6 at 10; its 95 % interval (0.773, 1.227).
    assert scale == pytest.approx(0.964, abs=5e-4)
    assert 100 * adjusted.chi_square == pytest.approx(3435.60, abs=0.02)
    limits = adjusted.variance_factor_range
    assert limits is not None
    assert np.sqrt(limits) == pytest.approx((0.773, 1.227), abs=5e-4)
    # The largest studentised residual: 2.48, of the distance from 407 to 422.
    studentised = np.abs(adjusted.standardised) / scale
    assert labels[int(studentised.argmax())] == ("distance", 407, 422)
    assert studentised.max() == pytest.approx(2.48, abs=5e-3)


def test_residuals_and_degrees_of_control_as_published() -> None:
    # v in cc and f, how much smaller the adjusted direction's sigma is than the observed one's.
    adjusted, labels = published_network(second_is_fixed=True)
    for target, residual_cc, control in ((2, 9.170, 47.4), (422, 0.873, 47.0), (424, 7.588, 30.3)):
        row = labels.index(("direction", 1, target))
        assert abs(adjusted.residual[row]) / GON * 1e4 == pytest.approx(residual_cc, abs=2e-3)
        f = 100 * (1 - adjusted.fitted_std[row] / adjusted.network.std[row])
        assert f == pytest.approx(control, abs=0.05)
        assert adjusted.redundancy[row] == pytest.approx(1 - (1 - f / 100) ** 2)


def test_an_adjusted_distance_as_published() -> None:
    # With point 2 free along its bearing: 845.77907 ± 3.0 mm from point 1.
    adjusted, labels = published_network(second_is_fixed=False)
    factor = adjusted.variance_factor
    assert factor is not None
    row = labels.index(("distance", 1, 2))
    assert 845.777 + adjusted.residual[row] == pytest.approx(845.77907, abs=1e-5)
    assert adjusted.fitted_std[row] * math.sqrt(factor) * 1e3 == pytest.approx(3.0, abs=0.05)
