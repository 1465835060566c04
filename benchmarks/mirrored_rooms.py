"""Identical loudspeakers in rooms whose halves mirror each other, the microphone off the middle.

What is hardest to tell from one loudspeaker on both channels. Conventions: as in
`benchmarks.rooms`; off the middle line counts from the left wall, positive to the right.

Run as ``python -m benchmarks.mirrored_rooms [ROOMS] [SEED]``: how often left and right are taken
for one sound with the microphone 0.2 to 5 mm off the middle line, at its exact middle, in rooms
that mirror nothing, and with one loudspeaker on both channels; and what 1 mm leaves in an octave.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from analysis.basics.air import air_at
from analysis.pair.sameness import Sameness
from analysis.reading import read_recording
from benchmarks.planted import short_programme
from benchmarks.recorder import record
from benchmarks.rooms import Layout, random_layout, random_pair, responses

Float = NDArray[np.float64]

RATES_HZ = (44_100, 48_000, 96_000)
ROWS = (
    ("off the middle", 40.0, 1.0),
    ("off the middle", 20.0, 1.0),
    ("off the middle", 10.0, 0.4),
    ("exact middle", 40.0, 0.4),
    ("no mirror", 40.0, 0.6),
    ("no mirror", 10.0, 0.6),
    ("one loudspeaker", 40.0, 0.4),
    ("one loudspeaker", 20.0, 0.4),
    ("one loudspeaker", 10.0, 0.4),
)
"""Kind of pair, signal over noise in dB, and share of the rooms."""


def mirrored_layout(rng: np.random.Generator, off_m: float) -> Layout:
    """Return a random room whose halves mirror each other, the microphone `off_m` to the right."""
    layout = random_layout(rng, echoes=False)
    middle_m = layout.size_m[0] / 2
    half_m = (layout.right_m[0] - layout.left_m[0]) / 2
    side, _, *rest = layout.absorption
    return replace(
        layout,
        absorption=(side, side, rest[0], rest[1], rest[2], rest[3]),
        left_m=(middle_m - half_m, *layout.left_m[1:]),
        right_m=(middle_m + half_m, *layout.left_m[1:]),
        seat_m=(middle_m + off_m, *layout.seat_m[1:]),
    )


def mirrored_pair(seed: int, off_m: float, *, sample_rate_hz: int = 48_000) -> Float:
    """Return the responses of identical loudspeakers in a mirrored room, shape (2, n)."""
    rng = np.random.default_rng(seed)
    layout = mirrored_layout(rng, off_m)
    return _heard(layout, rng, "identical", sample_rate_hz)


def unlike_pair(seed: int, *, sample_rate_hz: int = 48_000) -> Float:
    """Return the responses of a usual pair in a room that mirrors nothing, shape (2, n)."""
    rng = np.random.default_rng(seed)
    return _heard(random_layout(rng), rng, "typical", sample_rate_hz)


def _heard(layout: Layout, rng: np.random.Generator, mismatch: str, sample_rate_hz: int) -> Float:
    """Return what a random pair sends to the microphone."""
    return responses(
        layout,
        random_pair(rng, mismatch),
        sample_rate_hz=sample_rate_hz,
        duration_s=0.4,
        max_order=6,
        simulator="rir_generator",
    )


def one_loudspeaker(seed: int, *, sample_rate_hz: int = 48_000) -> Float:
    """Return the left loudspeaker of a usual pair, heard on both channels, shape (2, n)."""
    left = unlike_pair(seed, sample_rate_hz=sample_rate_hz)[0]
    return np.stack((left, left))


def sameness_of(pair: Float, *, snr_db: float, seed: int, sample_rate_hz: int) -> Sameness:
    """Return what a recording of four passes of 2 s says of a pair's responses."""
    programme = short_programme(sample_rate_hz=sample_rate_hz)
    rng = np.random.default_rng(seed)
    samples = record(
        programme,
        pair,
        clock_ppm=rng.uniform(-100, 100),
        snr_db=snr_db,
        rng=rng,
        start_s=0.8,
        extra_s=0.8,
    )
    reading = read_recording(
        samples, recorded_hz=sample_rate_hz, programme=programme, air=air_at(20.0)
    )
    if reading.sameness is None:
        msg = f"seed {seed}: the sides weren't compared"
        raise RuntimeError(msg)
    return reading.sameness


def _pair_of(kind: str, seed: int, rate_hz: int) -> Float:
    """Return the responses of a kind of pair."""
    if kind == "one loudspeaker":
        return one_loudspeaker(seed, sample_rate_hz=rate_hz)
    if kind == "no mirror":
        return unlike_pair(seed, sample_rate_hz=rate_hz)
    off_m = 0.0
    if kind == "off the middle":
        # As many rooms in each octave from 0.2 to 5 mm, to either side.
        rng = np.random.default_rng([seed, 1])
        off_m = float(rng.choice((-1, 1)) * 0.2e-3 * 25 ** rng.random())
    return mirrored_pair(seed, off_m, sample_rate_hz=rate_hz)


def main(n_rooms: int, seed: int) -> None:
    """Print how often each kind of pair is taken for one sound, at each level of noise."""
    print(f"{n_rooms} rooms a row from seed {seed}, rates {RATES_HZ} in turn")
    for row, (kind, snr_db, share) in enumerate(ROWS):
        counted: Counter[str] = Counter()
        first = seed + row * n_rooms
        for at in range(round(share * n_rooms)):
            rate_hz = RATES_HZ[at % len(RATES_HZ)]
            pair = _pair_of(kind, first + at, rate_hz)
            found = sameness_of(pair, snr_db=snr_db, seed=first + at, sample_rate_hz=rate_hz)
            counted[found.state] += 1
        print(f"{kind:16} {snr_db:3.0f} dB  {dict(counted)}", flush=True)
    print("What 1 mm leaves, dB (median of the rooms):")
    cells = [
        sameness_of(
            mirrored_pair(seed + at, 1e-3), snr_db=50.0, seed=seed + at, sample_rate_hz=48_000
        ).cells
        for at in range(n_rooms // 3)
    ]
    for same_cells in zip(*cells, strict=True):
        median_db = np.median([cell.residual_db for cell in same_cells])
        print(f"{same_cells[0].octave_hz:5d} Hz {same_cells[0].part:5}  {median_db:.1f}")


if __name__ == "__main__":
    main(*(int(word) for word in (*sys.argv[1:], *("50", "13000")[len(sys.argv) - 1 :])))
