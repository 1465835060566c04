"""Modes of a box, against published tables, reference libraries and a finite-element mesh."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.room.modes import asymptotic_count, half_power_width_hz, modes_below
from analysis.room.room import Point, Room

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
    modes = modes_below(room, highest_hz, speed_of_sound_m_s=c)
    indices = [tuple(int(i) for i in row) for row in modes.indices]
    return dict(zip(indices, modes.frequency_hz.tolist(), strict=True))


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
    room = Room(length_m=length, width_m=width, height_m=height)
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
    ours = modes_below(
        Room(length_m=5.7, width_m=4.3, height_m=2.6), 300.0, speed_of_sound_m_s=343.2
    )
    np.testing.assert_allclose(ours.frequency_hz, theirs[1:], rtol=1e-12)
    np.testing.assert_array_equal(ours.indices, indices.T[1:])


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
    ours = modes_below(
        Room(length_m=5.0, width_m=4.0, height_m=2.5), 150.0, speed_of_sound_m_s=343.2
    )
    np.testing.assert_allclose(ours.frequency_hz[:10], theirs_hz, rtol=3e-3)


@settings(deadline=None)
@given(st.floats(3, 9), st.floats(2.5, 6), st.floats(2.2, 3.5), st.floats(150, 300))
def test_count_follows_the_asymptotic_formula(
    length_m: float, width_m: float, height_m: float, frequency_hz: float
) -> None:
    """Published formula (Maa 1939): the exact staircase stays near the smooth count."""
    room = Room(length_m=length_m, width_m=width_m, height_m=height_m)
    exact = modes_below(room, frequency_hz, speed_of_sound_m_s=343.2).frequency_hz.size
    smooth = asymptotic_count(room, frequency_hz, speed_of_sound_m_s=343.2)
    # In 6000 drawn rooms, cubes among them, the staircase strayed by up to 0.85 of the
    # root of the count.
    assert abs(exact - smooth) < 1.5 * np.sqrt(smooth)


def test_count_in_a_worked_room() -> None:
    """Worked example: 4.7 x 4.1 x 3.1 m at 340 m/s (Kuttruff's room), by hand count."""
    room = Room(length_m=4.7, width_m=4.1, height_m=3.1)
    counted = {100: 14, 150: 37, 200: 81, 300: 233}
    formula = {100: 14.4, 150: 38.3, 200: 79.7, 300: 234.1}
    for frequency_hz, count in counted.items():
        modes = modes_below(room, frequency_hz, speed_of_sound_m_s=340.0)
        assert modes.frequency_hz.size == count
        smooth = asymptotic_count(room, frequency_hz, speed_of_sound_m_s=340.0)
        assert smooth == pytest.approx(formula[frequency_hz], abs=0.05)


def test_shape_has_its_nodes_where_a_cosine_has_them() -> None:
    """Closed form: odd length modes vanish half way, mode 2 at a quarter of the length."""
    room = Room(length_m=6.0, width_m=4.0, height_m=2.5)
    modes = modes_below(room, 120.0, speed_of_sound_m_s=343.2)
    rows = {tuple(row): k for k, row in enumerate(modes.indices.tolist())}
    middle = modes.shape_at(Point(x_m=0.0, y_m=3.0, z_m=0.0))
    assert middle[rows[1, 0, 0]] == pytest.approx(0, abs=1e-12)
    assert middle[rows[2, 0, 0]] == pytest.approx(-1)
    quarter = modes.shape_at(Point(x_m=0.0, y_m=1.5, z_m=0.0))
    assert quarter[rows[2, 0, 0]] == pytest.approx(0, abs=1e-12)
    assert modes.shape_at(Point(x_m=0.0, y_m=0.0, z_m=0.0)) == pytest.approx(1)
    assert modes.shape_at(Point(x_m=1.0, y_m=0.0, z_m=0.0))[rows[0, 1, 0]] == pytest.approx(
        np.sqrt(0.5)
    )


def test_kinds() -> None:
    """Known input: one, two and three non-zero indices."""
    modes = modes_below(
        Room(length_m=6.0, width_m=4.0, height_m=2.5), 110.0, speed_of_sound_m_s=343.2
    )
    kinds = dict(zip(map(tuple, modes.indices.tolist()), modes.kinds, strict=True))
    assert kinds[1, 0, 0] == "axial"
    assert kinds[1, 1, 0] == "tangential"
    assert kinds[1, 1, 1] == "oblique"
    assert np.all(modes.spacing_hz >= 0)


@given(st.floats(0.3, 1.9), st.floats(0.3, 2.0), st.floats(0.3, 2.0))
def test_symmetric_pair_leaves_odd_width_modes_alone(
    from_wall_m: float, y_m: float, z_m: float
) -> None:
    """Invariant: mirror symmetry about the middle of the width."""
    modes = modes_below(
        Room(length_m=6.0, width_m=4.0, height_m=2.5), 150.0, speed_of_sound_m_s=343.2
    )
    left = Point(x_m=from_wall_m, y_m=y_m, z_m=z_m)
    right = Point(x_m=4.0 - from_wall_m, y_m=y_m, z_m=z_m)
    odd = modes.indices[:, 1] % 2 == 1
    np.testing.assert_allclose(modes.drive((left, right))[odd], 0, atol=1e-12)
    np.testing.assert_allclose(
        modes.drive((left, right))[~odd], modes.shape_at(left)[~odd], atol=1e-12
    )


def test_coupling_is_reciprocal() -> None:
    """Invariant: loudspeaker and seat may be exchanged."""
    modes = modes_below(
        Room(length_m=6.0, width_m=4.0, height_m=2.5), 150.0, speed_of_sound_m_s=343.2
    )
    one, other = Point(x_m=1.0, y_m=0.7, z_m=0.5), Point(x_m=2.2, y_m=3.9, z_m=1.1)
    np.testing.assert_allclose(modes.coupling((one,), other), modes.coupling((other,), one))


@pytest.mark.parametrize(("decay_s", "width_hz"), [(0.4, 5.5), (0.5, 4.4)])
def test_half_power_width(decay_s: float, width_hz: float) -> None:
    """Published rule 2.2 / T (Kuttruff)."""
    assert half_power_width_hz(decay_s) == pytest.approx(width_hz, abs=0.01)


def test_refuses_what_makes_no_sense() -> None:
    """Known input."""
    room = Room(length_m=6.0, width_m=4.0, height_m=2.5)
    with pytest.raises(ValueError, match="highest_hz -1"):
        modes_below(room, -1.0, speed_of_sound_m_s=343.2)
    with pytest.raises(ValueError, match="at most"):
        modes_below(room, 2e4, speed_of_sound_m_s=343.2)
    with pytest.raises(ValueError, match="decay_s 0"):
        half_power_width_hz(0.0)
    assert modes_below(room, 0.0, speed_of_sound_m_s=343.2).frequency_hz.size == 0
