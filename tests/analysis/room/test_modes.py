"""Modes of rooms: published tables, reference libraries, finite elements, closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.stats import qmc

from analysis.room.floor_plan import FloorPlan, rectangle
from analysis.room.modes import Modes, room_modes
from analysis.room.plan_modes import plan_modes
from analysis.room.room import Room, rectangular_room
from analysis.room.sloped_modes import sloped_modes

FOOT_M = 0.3048

# Published table: Handbook for Sound Engineers, ch. 6, table 6-4, 16 x 12 x 8 ft, axial
# modes; 1130 ft/s reproduces it.
HANDBOOK_HZ = {
    (1, 0, 0): 35.31,
    (0, 1, 0): 47.08,
    (0, 0, 1): 70.63,
    (2, 0, 0): 70.63,
    (0, 2, 0): 94.17,
    (3, 0, 0): 105.94,
    (0, 3, 0): 141.25,
    (0, 0, 2): 141.25,
}

# Published list (second-hand): 23 x 17 x 10 ft; 1126.2 ft/s reproduces it.
QUESTION_PAGE_HZ = {
    (1, 0, 0): 24.48,
    (0, 1, 0): 33.12,
    (0, 0, 1): 56.31,
    (1, 1, 0): 41.19,
    (1, 0, 1): 61.40,
    (0, 1, 1): 65.32,
    (1, 1, 1): 69.76,
    (2, 1, 0): 59.11,
    (2, 0, 1): 74.62,
    (2, 1, 1): 81.64,
    (1, 2, 0): 70.62,
    (1, 2, 1): 90.32,
    (0, 2, 1): 86.94,
    (3, 0, 1): 92.54,
    (0, 0, 2): 112.61,
}


def _by_indices(room: Room, highest_hz: float, c: float) -> dict[tuple[int, ...], float]:
    modes = room_modes(room, highest_hz, speed_of_sound_m_s=c)
    indices = [tuple(int(i) for i in row) for row in modes.indices]
    return dict(zip(indices, modes.frequency_hz(speed_of_sound_m_s=c).tolist(), strict=True))


def _shape(modes: Modes, x_m: float, y_m: float, z_m: float) -> NDArray[np.float64]:
    """Return each shape at a point as a share of its largest value."""
    return modes.shapes_at(np.array([x_m, y_m, z_m]))[0] / modes.largest_shapes()


@pytest.mark.parametrize(
    ("size_ft", "speed_ft_s", "published", "tolerance_hz"),
    [
        ((16, 12, 8), 1130.0, HANDBOOK_HZ, 0.01),
        ((23, 17, 10), 1126.2, QUESTION_PAGE_HZ, 0.02),
    ],
)
def test_published_mode_tables(
    size_ft: tuple[float, float, float],
    speed_ft_s: float,
    published: dict[tuple[int, ...], float],
    tolerance_hz: float,
) -> None:
    """Published tables, to the printed digits; indices are length, width, height."""
    length, width, height = (FOOT_M * side for side in size_ft)
    room = rectangular_room(length_m=length, width_m=width, height_m=height)
    found = _by_indices(room, 150.0, FOOT_M * speed_ft_s)
    for indices, frequency_hz in published.items():
        assert found[indices] == pytest.approx(frequency_hz, abs=tolerance_hz)


@pytest.mark.filterwarnings("ignore")
def test_all_modes_agree_with_a_reference_library() -> None:
    """Second method: pyrato's eigenfrequencies of a rigid rectangular room."""
    analytic = pytest.importorskip("pyrato.analytic")
    theirs, indices = analytic.eigenfrequencies_rectangular_room_rigid(
        np.array([5.7, 4.3, 2.6]), max_freq=300.0, speed_of_sound=343.2
    )
    ours = room_modes(
        rectangular_room(length_m=5.7, width_m=4.3, height_m=2.6), 300.0, speed_of_sound_m_s=343.2
    )
    np.testing.assert_allclose(ours.frequency_hz(speed_of_sound_m_s=343.2), theirs, atol=1e-9)
    np.testing.assert_array_equal(ours.indices, indices.T)


@pytest.mark.filterwarnings("ignore")
def test_lowest_modes_agree_with_finite_elements() -> None:
    """Second method: scikit-fem, quadratic hexahedra of 0.6 m, good to 0.3 % for ten modes."""
    skfem = pytest.importorskip("skfem")
    helpers = pytest.importorskip("skfem.helpers")
    linalg = pytest.importorskip("scipy.sparse.linalg")
    axes = (np.linspace(0, 5.0, 9), np.linspace(0, 4.0, 8), np.linspace(0, 2.5, 5))
    mesh = skfem.MeshHex.init_tensor(*axes)
    basis = skfem.Basis(mesh, skfem.ElementHex2(), intorder=4)
    stiffness = skfem.BilinearForm(lambda u, v, _: helpers.dot(u.grad, v.grad)).assemble(basis)
    mass = skfem.BilinearForm(lambda u, v, _: u * v).assemble(basis)
    eigenvalues = np.sort(
        linalg.eigsh(stiffness, k=11, M=mass, sigma=-0.1, return_eigenvectors=False)
    )
    theirs_hz = 343.2 / (2 * np.pi) * np.sqrt(eigenvalues[1:])
    ours = room_modes(
        rectangular_room(length_m=5.0, width_m=4.0, height_m=2.5), 150.0, speed_of_sound_m_s=343.2
    )
    ours_hz = ours.frequency_hz(speed_of_sound_m_s=343.2)
    np.testing.assert_allclose(ours_hz[1:11], theirs_hz, rtol=3e-3)


def _smooth_count(room: Room, frequency_hz: float, c: float) -> float:
    """Return the smoothed number of modes of a box (Kuttruff; Maa 1939)."""
    edges_m = 4 * (room.length_m + room.width_m + room.height_m)
    per_m = frequency_hz / c
    return (
        4 * math.pi / 3 * room.volume_m3 * per_m**3
        + math.pi / 4 * room.surface_m2 * per_m**2
        + edges_m / 8 * per_m
    )


@settings(deadline=None)
@given(st.floats(3, 9), st.floats(2.5, 6), st.floats(2.2, 3.5), st.floats(150, 300))
def test_count_follows_the_asymptotic_formula(
    length_m: float, width_m: float, height_m: float, frequency_hz: float
) -> None:
    """Published formula (Maa 1939): the exact staircase stays near the smooth count."""
    room = rectangular_room(length_m=length_m, width_m=width_m, height_m=height_m)
    exact = room_modes(room, frequency_hz, speed_of_sound_m_s=343.2).wavenumber_rad_m.size - 1
    smooth = _smooth_count(room, frequency_hz, 343.2)
    # In 6000 drawn rooms, cubes among them, the staircase strayed by up to 0.85 of the
    # root of the count.
    assert abs(exact - smooth) < 1.5 * np.sqrt(smooth)


def test_count_in_a_worked_room() -> None:
    """Worked example: 4.7 x 4.1 x 3.1 m at 340 m/s (Kuttruff's room), by hand count."""
    room = rectangular_room(length_m=4.7, width_m=4.1, height_m=3.1)
    counted = {100: 14, 150: 37, 200: 81, 300: 233}
    formula = {100: 14.4, 150: 38.3, 200: 79.7, 300: 234.1}
    for frequency_hz, count in counted.items():
        modes = room_modes(room, frequency_hz, speed_of_sound_m_s=340.0)
        assert modes.wavenumber_rad_m.size == count + 1
        smooth = _smooth_count(room, frequency_hz, 340.0)
        assert smooth == pytest.approx(formula[frequency_hz], abs=0.05)


def test_shape_has_its_nodes_where_a_cosine_has_them() -> None:
    """Closed form: odd length modes vanish half way, mode 2 at a quarter of the length."""
    room = rectangular_room(length_m=6.0, width_m=4.0, height_m=2.5)
    modes = room_modes(room, 120.0, speed_of_sound_m_s=343.2)
    rows = {tuple(row): k for k, row in enumerate(modes.indices.tolist())}
    middle = _shape(modes, 0.0, 3.0, 0.0)
    assert middle[rows[1, 0, 0]] == pytest.approx(0, abs=1e-12)
    assert middle[rows[2, 0, 0]] == pytest.approx(-1)
    quarter = _shape(modes, 0.0, 1.5, 0.0)
    assert quarter[rows[2, 0, 0]] == pytest.approx(0, abs=1e-12)
    assert _shape(modes, 0.0, 0.0, 0.0) == pytest.approx(1)
    assert _shape(modes, 1.0, 0.0, 0.0)[rows[0, 1, 0]] == pytest.approx(np.sqrt(0.5))


def test_kinds() -> None:
    """Known input: one, two and three non-zero indices."""
    modes = room_modes(
        rectangular_room(length_m=6.0, width_m=4.0, height_m=2.5), 110.0, speed_of_sound_m_s=343.2
    )
    kinds = dict(zip(map(tuple, modes.indices.tolist()), modes.kinds, strict=True))
    assert kinds[1, 0, 0] == "axial"
    assert kinds[1, 1, 0] == "tangential"
    assert kinds[1, 1, 1] == "oblique"
    assert kinds[0, 0, 0] == "uniform"
    assert np.all(np.diff(modes.wavenumber_rad_m) >= -1e-12)


@given(st.floats(0.3, 1.9), st.floats(0.3, 2.0), st.floats(0.3, 2.0))
def test_symmetric_pair_leaves_odd_width_modes_alone(
    from_wall_m: float, y_m: float, z_m: float
) -> None:
    """Invariant: mirror symmetry about the middle of the width."""
    modes = room_modes(
        rectangular_room(length_m=6.0, width_m=4.0, height_m=2.5), 150.0, speed_of_sound_m_s=343.2
    )
    left, right = np.array([[from_wall_m, y_m, z_m], [4.0 - from_wall_m, y_m, z_m]])
    odd = modes.indices[:, 1] % 2 == 1
    both = modes.drive(np.stack([left, right]))
    np.testing.assert_allclose(both[odd], 0, atol=1e-12)
    np.testing.assert_allclose(both[~odd], modes.drive(left)[~odd], atol=1e-12)


def test_coupling_is_reciprocal() -> None:
    """Invariant: loudspeaker and seat may be exchanged."""
    modes = room_modes(
        rectangular_room(length_m=6.0, width_m=4.0, height_m=2.5), 150.0, speed_of_sound_m_s=343.2
    )
    one, other = np.array([1.0, 0.7, 0.5]), np.array([2.2, 3.9, 1.1])
    np.testing.assert_allclose(modes.strength(one, other), modes.strength(other, one))


@pytest.mark.parametrize(
    ("size_m", "tied"),
    [
        ((5.0, 5.0, 2.5), [(0, 0, 1), (0, 2, 0), (2, 0, 0)]),
        ((5.0, 4.0, 2.5), [(0, 3, 1), (2, 3, 0)]),
        ((6.0, 4.5, 2.4), [(0, 3, 0), (4, 0, 0)]),
    ],
)
def test_ties_stand_in_the_order_of_the_indices(
    size_m: tuple[float, float, float], tied: list[tuple[int, int, int]]
) -> None:
    """Known input: sides in whole proportions; rounding alone would part these modes."""
    length_m, width_m, height_m = size_m
    room = rectangular_room(length_m=length_m, width_m=width_m, height_m=height_m)
    modes = room_modes(room, 200.0, speed_of_sound_m_s=343.2)
    found = [tuple(row) for row in modes.indices.tolist()]
    first = found.index(tied[0])
    assert found[first : first + len(tied)] == tied


def test_refuses_what_makes_no_sense() -> None:
    """Known input."""
    room = rectangular_room(length_m=6.0, width_m=4.0, height_m=2.5)
    with pytest.raises(ValueError, match="highest_hz -1"):
        room_modes(room, -1.0, speed_of_sound_m_s=343.2)
    with pytest.raises(ValueError, match="modes: ask less high"):
        room_modes(room, 2e4, speed_of_sound_m_s=343.2)


@pytest.fixture(scope="module")
def sloped() -> Modes:
    plan = rectangle(width_m=3.0, length_m=3.6)
    room = Room(plan=plan, height_m=2.1, far_height_m=2.9)
    return room_modes(room, 130, speed_of_sound_m_s=343.0, error_percent=0.3)


def test_the_lowest_modes_of_a_published_table() -> None:
    # Published table: 23 x 17 x 10 ft at 1126.2 ft/s, lowest eleven (second-hand).
    plan = rectangle(width_m=17 * FOOT_M, length_m=23 * FOOT_M)
    modes = room_modes(
        Room(plan=plan, height_m=10 * FOOT_M), 81.7, speed_of_sound_m_s=1126.2 * FOOT_M
    )
    found = modes.frequency_hz(speed_of_sound_m_s=1126.2 * FOOT_M)
    known = [24.48, 33.12, 41.19, 48.97, 56.31, 59.11, 61.40, 65.32, 66.24, 69.76, 70.62]
    np.testing.assert_allclose(found[1:12], known, atol=0.02)


def test_an_l_under_a_level_ceiling_is_its_plan_and_the_height() -> None:
    # Published table: Dauge's first eigenvalue, and (n c / 2 h)^2 under the root.
    s, h, c = 2.5, 2.4, 343.2
    plan = FloorPlan(corners_m=((0, 0), (2 * s, 0), (2 * s, s), (s, s), (s, 2 * s), (0, 2 * s)))
    modes = room_modes(Room(plan=plan, height_m=h), 110, speed_of_sound_m_s=c)
    found = dict(
        zip(modes.kinds[::-1], modes.frequency_hz(speed_of_sound_m_s=c)[::-1], strict=True)
    )
    assert found["plan"] == pytest.approx(26.541, rel=1e-4)
    assert found["vertical"] == pytest.approx(c / 2 / h)
    assert found["mixed"] == pytest.approx(math.hypot(26.541, c / 2 / h), rel=1e-4)


def test_prisms_find_a_trapezoid_times_the_width() -> None:
    # Second method: the same room is separable: a trapezoidal section times cosines in x.
    highest = 2 * math.pi * 130 / 343.0
    room = Room(plan=rectangle(width_m=3.0, length_m=3.6), height_m=2.1, far_height_m=2.9)
    found = sloped_modes(room, highest, error_percent=0.3)[0]
    side = FloorPlan(corners_m=((0, 0), (3.6, 0), (3.6, 2.9), (0, 2.1)))
    upright = plan_modes(side, highest, error_percent=0.02).wavenumber_rad_m
    all_of = np.hypot(upright[:, np.newaxis], np.pi * np.arange(6) / 3.0).ravel()
    known = np.sort(all_of[all_of <= highest])
    np.testing.assert_allclose(found[1:], known[1:], rtol=3e-3)


def test_shapes_have_a_mean_square_of_one_and_are_orthogonal(sloped: Modes) -> None:
    # Invariant, by quasi-random points over the volume.
    points = qmc.Sobol(3, seed=1).random(2**12) * [3.0, 3.6, 2.9]
    shapes = sloped.shapes_at(points[sloped.room.holds(points)])
    product = shapes.T @ shapes / shapes.shape[0]
    np.testing.assert_allclose(product, np.eye(product.shape[0]), atol=0.03)


def test_the_uniform_pressure_meets_each_surface_by_its_area(sloped: Modes) -> None:
    # Closed form: areas over volume, the sloped ceiling's among them.
    weights = sloped.surface_weight_per_m[:, 0] * sloped.room.volume_m3
    np.testing.assert_allclose(weights, sloped.room.areas_m2(), rtol=1e-6)
    assert sloped.room.volume_m3 == pytest.approx(3.0 * 3.6 * 2.5)
