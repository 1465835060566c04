r"""Three invented rooms, start to end: modes, five readings, fit, advice, advice against truth.

    python -m benchmarks.three_rooms [rectangle] [l-shape] [slanted]

Truth of the rectangle: image sources of pyroomacoustics with unequal absorption. Truth of the
L and the slanted wall: three-dimensional finite elements (scikit-fem, quadratic hexahedra of
0.5 m) of the lossy wave equation, solved frequency by frequency with admittances on the
surfaces, which no modes enter:

.. math:: \int \nabla p \cdot \nabla q - k^2 p q \, \mathrm{d}V
          + j k \sum_S \beta_S \int_S p q \, \mathrm{d}S = q(s).

The owner's file is off by 10 mm in the room and 5 mm in the places; five readings have 0.5 dB
of noise in each band.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.linalg import splu

from analysis.placement.band_levels import (
    CENTRES_HZ,
    FREQUENCY_HZ,
    band_coherence,
    band_levels_db,
    deviations_from_line_db,
)
from analysis.placement.choice import choose_places
from analysis.placement.fit.parameters import pair_levels
from analysis.placement.fit.room_fit import MeasuredPlace, RoomFit, fit_room
from analysis.placement.monte_carlo import draw_rooms, likeliest_offsets
from analysis.placement.places import Places, allowed_places
from analysis.placement.response.room_response import RoomModel, room_model
from analysis.room.floor_plan import FloorPlan
from analysis.room.modes import room_modes
from analysis.room.room import Loudspeaker, Point, Positions, Room

Float = NDArray[np.float64]
Complex = NDArray[np.complex128]

TRUE_SPEED_M_S = 344.6
TOLD_SPEED_M_S = 343.4
HEIGHT_M = 2.5

PLANS = {
    "rectangle": ((0, 0), (4.1, 0), (4.1, 5.3), (0, 5.3)),
    "l-shape": ((0, 0), (4.0, 0), (4.0, 3.0), (6.0, 3.0), (6.0, 5.0), (0, 5.0)),
    "slanted": ((0, 0), (4.4, 0), (3.6, 5.5), (0, 5.5)),
}
"""Invented."""


def positions() -> Positions:
    """Return today's places."""
    left, right = (
        Loudspeaker(tweeter=Point(x_m=x, y_m=0.8, z_m=1.0), woofer_z_m=0.6) for x in (1.0, 2.9)
    )
    return Positions(left=left, right=right, seat=Point(x_m=1.95, y_m=2.7, z_m=1.1))


def hexahedra(name: str) -> Any:
    """Return a mesh of a room of `PLANS`."""
    from skfem import MeshHex

    def axis(length: float) -> Float:
        return np.linspace(0, length, round(length / 0.5) + 1)

    if name == "l-shape":
        mesh = MeshHex.init_tensor(axis(6.0), axis(5.0), axis(HEIGHT_M))
        middle = mesh.p[:, mesh.t].mean(axis=1)
        return mesh.remove_elements(np.flatnonzero((middle[0] > 4) & (middle[1] < 3)))
    mesh = MeshHex.init_tensor(axis(4.4), axis(5.5), axis(HEIGHT_M))
    points = mesh.p.copy()
    points[0] *= 1 - points[1] / 5.5 * (0.8 / 4.4)
    return MeshHex(points, mesh.t)


def true_by_elements(name: str, sources: Float, seats: Float) -> Complex:
    """Return the pressure of each source at each seat, shape (f, n_sources, n_seats)."""
    from skfem import Basis, BilinearForm, ElementHex2, FacetBasis
    from skfem.helpers import dot, grad

    mesh = hexahedra(name)
    basis = Basis(mesh, ElementHex2())
    stiff = BilinearForm(lambda u, v, _: dot(grad(u), grad(v))).assemble(basis)
    mass = BilinearForm(lambda u, v, _: u * v).assemble(basis)
    facets = mesh.boundary_facets()
    height = mesh.p[2, mesh.facets[:, facets]].mean(axis=0)
    parts = {
        "floor": facets[height < 1e-6],
        "ceiling": facets[height > HEIGHT_M - 1e-6],
        "walls": facets[(height >= 1e-6) & (height <= HEIGHT_M - 1e-6)],
    }
    along = {
        part: BilinearForm(lambda u, v, _: u * v).assemble(
            FacetBasis(mesh, ElementHex2(), facets=chosen)
        )
        for part, chosen in parts.items()
    }
    at_source, at_seat = basis.probes(sources.T), basis.probes(seats.T)
    result = np.empty((FREQUENCY_HZ.size, sources.shape[0], seats.shape[0]), complex)
    for i, at_hz in enumerate(FREQUENCY_HZ):
        k = 2 * np.pi * at_hz / TRUE_SPEED_M_S
        beta = {  # losses that change with frequency, and walls that give
            "floor": 0.03 * (at_hz / 100) ** 0.4,
            "ceiling": 0.012 + 0.004j,
            "walls": 0.02 * (100 / at_hz) ** 0.3 + 0.004j,
        }
        system = stiff - k**2 * mass + 1j * k * sum(beta[part] * along[part] for part in parts)
        solved = splu(system.tocsc()).solve(at_seat.T.toarray().astype(complex))
        result[i] = at_source @ solved
    return result


def true_by_images(sources: Float, seats: Float) -> Complex:
    """Return the same for the rectangle from a library of image sources."""
    import pyroomacoustics as pra

    rate_hz = 2000
    pra.constants.set("rir_hpf_enable", False)
    kept = {"west": 0.2, "east": 0.3, "south": 0.12, "north": 0.3, "floor": 0.25, "ceiling": 0.15}
    result = np.empty((FREQUENCY_HZ.size, sources.shape[0], seats.shape[0]), complex)
    for i, source in enumerate(sources):
        box = pra.ShoeBox(
            [4.1, 5.3, HEIGHT_M],
            fs=rate_hz,
            max_order=36,
            air_absorption=False,
            materials={wall: pra.Material(value) for wall, value in kept.items()},
        )
        box.set_sound_speed(TRUE_SPEED_M_S)
        box.add_source(source)
        box.add_microphone_array(seats.T)
        box.compute_rir()
        for j in range(seats.shape[0]):
            heard = box.rir[j][0][40:]
            turn = np.exp(-2j * np.pi * np.outer(FREQUENCY_HZ, np.arange(heard.size) / rate_hz))
            result[:, i, j] = turn @ heard / (4 * np.pi)
    return result


def told_room(name: str, rng: np.random.Generator) -> Room:
    """Return the room as its owner's file has it."""
    corners = np.array(PLANS[name], float)
    told = corners + np.where(corners > 0, 0.01 * rng.standard_normal(corners.shape), 0)
    if name == "rectangle":
        told = np.array(PLANS[name]) * [1 + 0.01 / 4.1, 1 - 0.01 / 5.3]
    return Room(plan=FloorPlan(corners_m=tuple(map(tuple, told))), height_m=HEIGHT_M + 0.008)


def run(name: str) -> None:
    """Print one room's story."""
    rng = np.random.default_rng(5)
    room = told_room(name, rng)
    places = allowed_places(
        room,
        positions(),
        front_m=np.round(np.arange(0.35, 1.6, 0.05), 3),
        spread_m=np.array([0.95]),
        seat_m=np.array([2.5, 2.7, 2.9]),
    )
    modes = room_modes(room, 200, speed_of_sound_m_s=TOLD_SPEED_M_S)
    at_hz = modes.frequency_hz(speed_of_sound_m_s=TOLD_SPEED_M_S)
    print(f"\n{name}: {room.plan.area_m2:.1f} m², {room.volume_m3:.1f} m³")
    lowest = ", ".join(f"{one:.1f}" for one in at_hz[1:8])
    print(f"  {at_hz.size - 1} modes to 200 Hz ({modes.error_percent:.3f} %): {lowest} Hz")
    left, right, levels, evenness = truth(name, places, rng)
    readings = five_readings(places, levels, rng)
    model = room_model(room, 300, speed_of_sound_m_s=TOLD_SPEED_M_S)
    fit = fit_room(model, readings)
    print_fit(fit, fit_room(model, with_timing(readings, places, left, right, rng)))
    both = both_levels(left, right)
    print_advice("unfitted", model, places, both, evenness)
    print_advice("fitted", model, places, both, evenness, fit=fit)


def print_fit(fit: RoomFit, timed: RoomFit) -> None:
    """Print what a fit changed, and what timing would add."""
    doubtful = ", ".join(f"{one:.0f}" for one in CENTRES_HZ[fit.trusted == 0]) or "none"
    together = ", ".join("+".join(pair) for pair in fit.inseparable) or "nothing"
    print(
        f"  fit of {fit.n_readings} readings: {fit.before_db:.1f} dB before, {fit.after_db:.1f} "
        f"after; left out {fit.left_out_before_db:.2f} -> {fit.left_out_db:.2f} dB; "
        f"kept {fit.kept}; undecided {', '.join(fit.undecided) or 'nothing'}; "
        f"together only {together}; not trusted {doubtful}"
    )
    narrower = timed.offsets_std[:3] / fit.offsets_std[:3]
    print(
        f"  with timing: left out {timed.left_out_db:.2f} dB, used {timed.timing}, sigmas of "
        f"length, width, height {', '.join(f'{one:.2f}' for one in narrower)} times those without"
    )


def print_advice(
    label: str,
    model: RoomModel,
    places: Places,
    both_db: Float,
    evenness: Float,
    *,
    fit: RoomFit | None = None,
) -> None:
    """Print where to stand, and how good that truly is."""
    options: dict[str, Any] = {"offsets": likeliest_offsets(fit)}
    if fit is not None:
        options |= {
            "rooms": draw_rooms(model, np.random.default_rng(6), fit=fit),
            "trusted": fit.trusted,
            "model_error_db": fit.model_error_db,
        }
    found = choose_places(model, places, rng=np.random.default_rng(1), **options)
    first = found.choices[0]
    at = (places.left_m, places.right_m, places.listener_m)
    predicted = pair_levels(model, *at, options["offsets"])
    off = deviations_from_line_db(predicted.both_db) - deviations_from_line_db(both_db)
    print(
        f"  {label}: {first.interval_m[0]:.2f} to {first.interval_m[1]:.2f} m, head at "
        f"{first.seat_m:.2f} m, evenness {first.evenness_db:.2f} dB, holds "
        f"{first.holds_percent:.0f} %; truly {evenness[first.index]:.2f} dB, best "
        f"{evenness.min():.2f}, mean {evenness.mean():.2f}; curves off by "
        f"{np.sqrt(np.mean(off**2)):.1f} dB rms"
    )


def both_levels(left: Complex, right: Complex) -> Float:
    """Return the band levels of both together."""
    return band_levels_db(np.abs(left + right) ** 2)


def truth(
    name: str, places: Places, rng: np.random.Generator
) -> tuple[Complex, Complex, Float, Float]:
    """Return what truly reaches each place, band levels, and the true evenness."""
    rows, at_row = np.unique(places.front_wall_m, return_inverse=True)
    seats_m, at_seat = np.unique(places.seat_m, return_inverse=True)
    shift = 0.005 * rng.standard_normal((3, 3))
    left_at = np.column_stack([0 * rows + 1.0, rows, 0 * rows + 0.6]) + shift[0]
    right_at = np.column_stack([0 * rows + 2.9, rows, 0 * rows + 0.6]) + shift[1]
    seats = np.column_stack([0 * seats_m + 1.95, seats_m, 0 * seats_m + 1.1]) + shift[2]
    sources = np.concatenate([left_at, right_at])
    if name == "rectangle":
        heard = true_by_images(sources, seats)
    else:
        heard = true_by_elements(name, sources, seats)
    left = 4 * np.pi * heard[:, at_row, at_seat]
    right = 4 * np.pi * heard[:, rows.size + at_row, at_seat]
    levels = np.stack([band_levels_db(np.abs(one) ** 2) for one in (left, right)])
    off = deviations_from_line_db(both_levels(left, right))
    return left, right, levels, np.sqrt(np.mean(off**2, axis=0))


def measured_rows(places: Places) -> Any:
    """Return five places: the pair moved from the wall, at the middle seat."""
    row = np.flatnonzero(places.seat_m == 2.7)
    return row[np.round(np.linspace(0, row.size - 1, 5)).astype(int)]


def five_readings(places: Places, levels: Float, rng: np.random.Generator) -> list[MeasuredPlace]:
    """Return readings at these places."""
    return [
        MeasuredPlace(
            left_m=places.left_m[k],
            right_m=places.right_m[k],
            seat_m=places.listener_m[k],
            left_db=levels[0, :, k] + 0.5 * rng.standard_normal(19),
            right_db=levels[1, :, k] + 0.5 * rng.standard_normal(19),
        )
        for k in measured_rows(places)
    ]


def with_timing(
    readings: list[MeasuredPlace],
    places: Places,
    left: Complex,
    right: Complex,
    rng: np.random.Generator,
) -> list[MeasuredPlace]:
    """Return the readings with cross spectra as noisy as the levels: 0.06, which is 0.5 dB."""
    rows = measured_rows(places)
    coherence = band_coherence(left[:, rows], right[:, rows])
    coherence = coherence + 0.06 * (rng.standard_normal((2, *coherence.shape)).T @ [1, 1j]).T
    return [replace(one, coherence=coherence[:, k]) for k, one in enumerate(readings)]


if __name__ == "__main__":
    for chosen_name in sys.argv[1:] or PLANS:
        run(chosen_name)
