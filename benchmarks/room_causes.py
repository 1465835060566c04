r"""How often the causes of bass peaks and dips are right, in simulated rooms.

Run ``python -m benchmarks.room_causes [ROOMS] [SEED]``; it prints two tables.

Conventions: those of `analysis.room.room`. Rooms, pairs and seats are drawn at random and
simulated by image sources (pyroomacoustics, to the 60th order, high-pass off); peaks and
dips of 3 dB prominence are taken with scipy.signal. The attribution is told a *taped*
room: sides off by 1 %, places by 20 mm, and 20 degrees where the air is off by 3.

Peaks: the truth is the mode that supplies most of the modal sum at the peak, in the true
room. It is a model's word: image sources don't know modes. Dips: one surface reflects
0.7 to 0.95 of the energy, the others 0.05; the truth is geometry.
"""

from __future__ import annotations

import argparse
import warnings
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import find_peaks

from analysis.basics.air import air_at
from analysis.bass.causes.attribution import Cause, attribute_causes
from analysis.bass.features import Feature, Kind
from analysis.room.modes import room_modes
from analysis.room.prediction import CURVES, Curve, predict, resonances, sources_of
from analysis.room.reflections import cancellations, reflections
from analysis.room.reverberation import half_power_width_hz, reverberation_time_s
from analysis.room.room import SURFACES, Loudspeaker, Point, Positions, Room, rectangular_room

FREQUENCY_HZ = np.arange(20.0, 290.0, 0.25)
SAMPLE_RATE_HZ = 800
BANDS_HZ = ((20, 60), (60, 100), (100, 150), (150, 220))
WALLS = {"left": "west", "right": "east", "front": "south", "rear": "north"}
Complex = NDArray[np.complex128]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Case:
    """One simulated room, and what a person taped of it."""

    room: Room
    positions: Positions
    speed_m_s: float
    taped_room: Room
    taped_positions: Positions
    curves: dict[Curve, Complex]


def cases(n_rooms: int, seed: int, *, one_surface: bool) -> Iterator[Case]:
    """Yield random rooms; with `one_surface` all surfaces but one absorb 0.95."""
    rng = np.random.default_rng(seed)
    for trial in range(n_rooms):
        absorption: dict[str, float] = {s: float(rng.uniform(0.1, 0.4)) for s in SURFACES}
        if one_surface:
            absorption = dict.fromkeys(SURFACES, 0.95)
            absorption[SURFACES[trial % 6]] = float(rng.uniform(0.05, 0.3))
        size = rng.uniform((3.5, 3.0, 2.3), (7.5, 5.5, 3.0))
        room = _room(size, absorption)
        depth, aside = rng.uniform(0.4, 1.2), rng.uniform(0.3, room.width_m / 2 - 0.7)
        height, far = rng.uniform(0.25, 0.9), rng.uniform(depth + 1.5, room.length_m - 0.4)
        places = np.array(
            [
                [aside, depth, height],
                [room.width_m - aside, depth, height],
                [room.width_m / 2, far, 1.1],
            ]
        )
        places += rng.normal(0, 0.05, (3, 3))
        speed_m_s = 343.2 + rng.normal(0, 1.75)
        taped = _room(size * (1 + rng.normal(0, 0.01, 3)), absorption)
        yield Case(
            room=room,
            positions=_positions(places, room),
            speed_m_s=speed_m_s,
            taped_room=taped,
            taped_positions=_positions(places + rng.normal(0, 0.02, (3, 3)), taped),
            curves=simulate(room, places, speed_m_s, order=8 if one_surface else 60),
        )


def _room(size: NDArray[np.float64], absorption: dict[str, float]) -> Room:
    length, width, height = map(float, size)
    return rectangular_room(length_m=length, width_m=width, height_m=height, absorption=absorption)


def _positions(places: NDArray[np.float64], room: Room) -> Positions:
    left, right, seat = (
        Point(x_m=float(x), y_m=float(y), z_m=float(z))
        for x, y, z in np.clip(places, 0.01, room.size_m - 0.01)
    )
    return Positions(left=Loudspeaker(tweeter=left), right=Loudspeaker(tweeter=right), seat=seat)


def simulate(
    room: Room, places: NDArray[np.float64], speed_m_s: float, *, order: int
) -> dict[Curve, Complex]:
    """Return the complex bass curves of a room by image sources."""
    import pyroomacoustics as pra

    pra.constants.set("rir_hpf_enable", False)
    materials = {WALLS.get(s, s): pra.Material(room.absorption_of(s)) for s in SURFACES}
    box = pra.ShoeBox(
        room.size_m, fs=SAMPLE_RATE_HZ, materials=materials, max_order=order, air_absorption=False
    )
    box.set_sound_speed(speed_m_s)
    for place in places[:2]:
        box.add_source(place)
    box.add_microphone(places[2])
    box.compute_rir()
    sides = []
    for response in box.rir[0]:
        time_s = (np.arange(len(response)) - 40) / SAMPLE_RATE_HZ
        sides.append(np.exp(-2j * np.pi * np.outer(FREQUENCY_HZ, time_s)) @ response)
    return {"left": sides[0], "right": sides[1], "both": (sides[0] + sides[1]) / 2}


def extrema(curve: Complex, kind: Kind) -> list[Feature]:
    """Return the peaks or dips of 3 dB prominence."""
    level_db = 20 * np.log10(np.abs(curve))
    at, found = find_peaks(level_db if kind == "peak" else -level_db, prominence=3.0)
    return [
        Feature(
            kind=kind,
            frequency_hz=float(FREQUENCY_HZ[k]),
            frequency_std_hz=0.1,
            level_db=float(level_db[k]),
            prominence_db=float(prominence),
        )
        for k, prominence in zip(at, found["prominences"], strict=True)
    ]


def dominant_mode(case: Case, curve: Curve, frequency_hz: float) -> tuple[int, ...]:
    """Return the mode that supplies most of the modal sum in the true room."""
    modes = room_modes(case.room, 450.0, speed_of_sound_m_s=case.speed_m_s)
    decay_s = reverberation_time_s(case.room, speed_of_sound_m_s=case.speed_m_s)
    width_hz = half_power_width_hz(decay_s)
    mode_hz = modes.frequency_hz(speed_of_sound_m_s=case.speed_m_s)
    terms = resonances(mode_hz[1:], np.array([frequency_hz]), width_hz=width_hz)[0]
    sources_m = np.stack([point.array for point in sources_of(case.positions, curve)])
    terms = terms * modes.strength(sources_m, case.positions.seat.array)
    part = (terms * np.conj(terms.sum())).real
    return tuple(modes.indices[int(np.argmax(part[1:])) + 1].tolist())


def peaks_table(n_rooms: int, seed: int) -> None:
    """Print how often a peak's first cause is the mode that dominates there."""
    rows: dict[tuple[int, int], list[tuple[bool, bool, bool]]] = {band: [] for band in BANDS_HZ}
    by_score: list[tuple[float, bool]] = []
    for case in cases(n_rooms, seed, one_surface=False):
        prediction = predict(case.taped_room, case.taped_positions, air_at())
        for curve in CURVES:
            peaks = extrema(case.curves[curve], "peak")
            for peak, causes in zip(peaks, attribute_causes(peaks, prediction, curve), strict=True):
                truth = dominant_mode(case, curve, peak.frequency_hz)
                first = causes[0].indices == truth
                by_score.append((causes[0].score, first))
                for low, high in BANDS_HZ:
                    if low <= peak.frequency_hz < high:
                        listed = any(one.indices == truth for one in causes)
                        rows[low, high].append((first, listed, causes[0].cause == "unexplained"))
    print(f"peaks of {n_rooms} rooms: first cause right, listed, unexplained")
    for (low, high), hits in rows.items():
        right, listed, unexplained = np.mean(np.array(hits, dtype=float), axis=0)
        print(f"  {low:3d} to {high:3d} Hz {len(hits):5d}  ", end="")
        print(f"{right:6.1%} {listed:6.1%} {unexplained:6.1%}")
    scores = np.array(by_score, dtype=float)
    for low_score in (0.0, 0.1, 0.2, 0.3, 0.4):
        inside = (scores[:, 0] > low_score) & (scores[:, 0] <= low_score + 0.1)
        print(f"  score {low_score:.1f} to {low_score + 0.1:.1f}: {scores[inside, 1].mean():6.1%}")


def dips_table(n_rooms: int, seed: int) -> None:
    """Print how often a dip by one surface gets that surface."""
    hits = []
    for trial, case in enumerate(cases(n_rooms, seed, one_surface=True)):
        prediction = predict(case.taped_room, case.taped_positions, air_at())
        for curve in CURVES[:2]:
            dips = extrema(case.curves[curve], "dip")
            ranked = attribute_causes(dips, prediction, curve)
            hits += list(_surface_hits(case, curve, SURFACES[trial % 6], dips, ranked))
    first, listed = np.mean(np.array(hits, dtype=float), axis=0)
    print(f"dips of one surface, {n_rooms} rooms, {len(hits)} dips: ", end="")
    print(f"first {first:.1%}, listed {listed:.1%}")


def _surface_hits(
    case: Case,
    curve: Curve,
    surface: str,
    dips: list[Feature],
    ranked: tuple[tuple[Cause, ...], ...],
) -> Iterator[tuple[bool, bool]]:
    """Yield for each true cancellation that a dip stands near whether it was found."""
    (source,) = sources_of(case.positions, curve)
    every = reflections(case.room, source, case.positions.seat)
    for one in cancellations(every, air=air_at()):
        true_hz = one.frequency_hz * case.speed_m_s / air_at().speed_of_sound_m_s
        away = [abs(dip.frequency_hz / true_hz - 1) for dip in dips]
        shallow = one.depth_db > -4 or not 25 < true_hz < 280
        if one.surface != surface or shallow or min(away, default=1.0) > 0.08:
            continue
        causes = ranked[int(np.argmin(away))]
        yield causes[0].surface == surface, any(c.surface == surface for c in causes)


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("rooms", type=int, nargs="?", default=60)
    parser.add_argument("seed", type=int, nargs="?", default=1)
    asked = parser.parse_args()
    warnings.simplefilter("ignore")  # pyroomacoustics' own, at import
    peaks_table(asked.rooms, asked.seed)
    dips_table(asked.rooms, asked.seed)


if __name__ == "__main__":
    main()
