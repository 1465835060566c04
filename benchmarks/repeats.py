"""What the passes of one loudspeaker tell of lost samples, the clock and the microphone.

``python -m benchmarks.repeats [FIRST_SEED] [N_CLEAN] [N_EACH]`` prints, for clean recordings and
for each thing that went wrong, how often it was called what, how far left minus right was off,
and how often it was withheld. Rooms, loudspeakers, noise (20 to 50 dB), clock, rate, order and
length of the sweep are drawn anew for each.

Truth: what was planted, and the geometry at the microphone's first place.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.basics.air import air_at
from analysis.reading import Reading, read_recording
from analysis.signals.programme import Programme
from benchmarks import faults
from benchmarks.planted import (
    START_S,
    Planted,
    default_programme,
    difference_s,
    room,
    short_programme,
)
from benchmarks.recorder import record

Float = NDArray[np.float64]
SPEED_OF_SOUND_M_S = 343.2
CLOCK_PPM = 150.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Drawn:
    """What was drawn for one recording."""

    programme: Programme
    snr_db: float
    clock_ppm: float


def draw(seed: int) -> Drawn:
    """Return a random programme, noise and clock."""
    rng = np.random.default_rng(seed)
    make = default_programme if rng.random() < 0.5 else short_programme
    programme = make(
        order=str(rng.choice(["LRRL", "LRRL", "LRLR", "RLLRRL"])),
        sample_rate_hz=int(rng.choice([44_100, 48_000, 96_000])),
    )
    return Drawn(
        programme=programme,
        snr_db=float(rng.uniform(20, 50)),
        clock_ppm=float(rng.uniform(-CLOCK_PPM, CLOCK_PPM)),
    )


def recorded(
    seed: int, drawn: Drawn, *, move_m: float = 0.0, after: int = 0, noise_seed: int | None = None
) -> Planted:
    """Return a recording in which the microphone is moved by so much after one pass.

    Parameters
    ----------
    seed : int
        Of the room, the pair and the direction of the move.
    after : int
        Index of the pass after which it moves.
    noise_seed : int, optional
        `seed` if not given.
    """
    rate_hz = drawn.programme.sample_rate_hz
    responses = room(seed, sample_rate_hz=rate_hz)
    if move_m:
        way = np.random.default_rng([seed, 1]).standard_normal(3)
        x_m, y_m, z_m = move_m * way / np.linalg.norm(way)
        moved = room(seed, sample_rate_hz=rate_hz, moved_m=(x_m, y_m, z_m))
        n_passes = len(drawn.programme.order)
        responses = np.stack([moved if at > after else responses for at in range(n_passes)])
    samples = record(
        drawn.programme,
        responses,
        clock_ppm=drawn.clock_ppm,
        snr_db=drawn.snr_db,
        rng=np.random.default_rng([seed if noise_seed is None else noise_seed, 2]),
        start_s=START_S,
        extra_s=0.8,
    )
    ratio = 1 + drawn.clock_ppm * 1e-6
    return Planted(
        samples=samples,
        sample_rate_hz=rate_hz,
        programme=drawn.programme,
        difference_s=difference_s(seed),
        starts_s=tuple(START_S + at_s * ratio for at_s in drawn.programme.starts_s),
    )


def lose_between(one: Planted, after: int, n_lost: int) -> Planted:
    """Return the recording without so many samples in the pause after a pass."""
    rate_hz = one.sample_rate_hz
    at_s = one.starts_s[after + 1] - 0.2
    fault = faults.dropped if n_lost > 0 else faults.repeated
    lost = fault(one.samples, sample_rate_hz=rate_hz, at_s=at_s, length_s=abs(n_lost) / rate_hz)
    return one.spoilt(lost)


def read(one: Planted) -> Reading:
    """Read it, with the speed of sound by which `off_m` turns the truth into metres."""
    return read_recording(
        one.samples,
        recorded_hz=one.sample_rate_hz,
        programme=one.programme,
        air=replace(air_at(20.0), speed_of_sound_m_s=SPEED_OF_SOUND_M_S),
    )


def off_m(reading: Reading, one: Planted) -> float | None:
    """Return how far left minus right is off; None where it is withheld."""
    if reading.arrival is None or reading.arrival.difference_m is None:
        return None
    return reading.arrival.difference_m - one.difference_s * SPEED_OF_SOUND_M_S


def _any_pause(seed: int, drawn: Drawn) -> int:
    """Return a pass that isn't the last."""
    return int(np.random.default_rng([seed, 3]).integers(len(drawn.programme.order) - 1))


def _lost(n_lost: int) -> Callable[[int, Drawn], Planted]:
    return lambda seed, drawn: lose_between(recorded(seed, drawn), _any_pause(seed, drawn), n_lost)


def _moved(move_m: float) -> Callable[[int, Drawn], Planted]:
    return lambda seed, drawn: recorded(seed, drawn, move_m=move_m, after=_any_pause(seed, drawn))


def _ramped(ppm: float) -> Callable[[int, Drawn], Planted]:
    def plant(seed: int, drawn: Drawn) -> Planted:
        one = recorded(seed, drawn)
        rate = {"sample_rate_hz": one.sample_rate_hz}
        return one.spoilt(faults.clock_ramp(one.samples, **rate, ppm=ppm, over_s=40.0))

    return plant


def _walked(ppm: float) -> Callable[[int, Drawn], Planted]:
    def plant(seed: int, drawn: Drawn) -> Planted:
        one = recorded(seed, drawn)
        walk = faults.clock_walk(
            one.samples,
            sample_rate_hz=one.sample_rate_hz,
            ppm=ppm,
            over_s=40.0,
            rng=np.random.default_rng([seed, 4]),
        )
        return one.spoilt(walk)

    return plant


PLANTED: dict[str, Callable[[int, Drawn], Planted]] = {
    "one sample lost in a pause": _lost(1),
    "microphone moved 1 mm": _moved(1e-3),
    "microphone moved 3 mm": _moved(3e-3),
    "microphone moved 10 mm": _moved(10e-3),
    "clock's rate ramps 1 ppm in 40 s": _ramped(1.0),
    "clock's rate ramps 3 ppm in 40 s": _ramped(3.0),
    "clock's rate walks 1 ppm in 40 s": _walked(1.0),
    "clock's rate walks 3 ppm in 40 s": _walked(3.0),
}


def report(name: str, plant: Callable[[int, Drawn], Planted], seeds: range) -> None:
    """Print one row: what it was called, errors, withheld."""
    kinds: Counter[str] = Counter()
    errors, scaled, n_withheld = [], [], 0
    for seed in seeds:
        one = plant(seed, draw(seed))
        reading = read(one)
        kinds[reading.aligned.repeats.kind] += 1
        error_m = off_m(reading, one)
        if error_m is None or reading.arrival is None or reading.arrival.std_m is None:
            n_withheld += 1
            continue
        errors.append(abs(error_m) * 1e3)
        scaled.append(abs(error_m) / reading.arrival.std_m)
    worst = max(errors, default=0.0)
    within = sum(one <= 2 for one in scaled)
    called = ", ".join(f"{kind} {n}" for kind, n in kinds.most_common())
    print(
        f"| {name} | {called} | {n_withheld} | {worst:.2f} | {within} of {len(scaled)} |",
        flush=True,
    )


def main() -> None:
    """Print the table."""
    first, n_clean, n_each = (
        int(value) for value in (sys.argv[1:] + ["8000", "60", "12"][len(sys.argv) - 1 :])
    )
    print(
        "| planted | called | withheld | worst error, mm | within 2 sigma |\n|---|---|---|---|---|"
    )
    report("nothing", recorded, range(first, first + n_clean))
    for row, (name, plant) in enumerate(PLANTED.items(), start=1):
        begin = first + 1000 * row
        report(name, plant, range(begin, begin + n_each))


if __name__ == "__main__":
    main()
