"""How often the truth of arrival and level lies within two of the stated sigma.

``python -m benchmarks.coverage [LAYOUTS] [SEED]`` draws layouts a class (default 200, seed
2026), each with its own room, pair and noise, and prints for the arrival and the direct
sound's level the error, the mean sigma and the share within two sigma, with the interval in
which the true share lies with 95 % (Wilson's). Nothing is tuned here.

Rooms: `benchmarks.two_way_rooms` in the layouts of `benchmarks.rooms`, furniture included;
pairs: `benchmarks.loudspeakers`, typical. Truths: the tweeters' distances, and each
loudspeaker's free field at the microphone over the band that the level states.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from analysis.pair.arrival import match_arrivals
from analysis.pair.direct_gate import direct_gate_s
from analysis.pair.level import LevelDifference, match_levels
from benchmarks.accuracy import RATE_HZ, SWEEP, heard
from benchmarks.loudspeakers import Pair, random_pair
from benchmarks.rooms import Echo, Layout, path_difference_m, random_layout
from benchmarks.two_way_rooms import Mounting, PairSpectra, pair_spectra

APART_M = 0.16
AIM_STD_DEG = 1.0
"""With care: 5 mm at the front edge of a box 30 cm wide. By eye it is twice that."""

DURATION_S = 0.06
N_LAYOUTS = 200
SEED = 2026
WITHIN = 2.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Kind:
    """A class of recordings.

    Attributes
    ----------
    crossovers : tuple of str
        One is drawn; of `benchmarks.loudspeakers.CROSSOVERS`.
    apart_m : float
        Woofer below tweeter.
    toed : bool
        Aimed somewhere between straight ahead and the seat; else at the seat.
    aim_std_deg : float
        One sigma a side of an aim that is toed in.
    end_hz : float
        Where the sweep ends.
    near_wall : bool
        One side has an echo of -8 to -1 dB, 0.4 to 0.9 ms late, as from a wall close by.
    """

    crossovers: tuple[str, ...] = ("LR2 inverted", "LR4")
    apart_m: float = APART_M
    toed: bool = True
    aim_std_deg: float = AIM_STD_DEG
    end_hz: float = SWEEP.stop_hz
    snr_db: float = 40.0
    mismatch: str = "typical"
    near_wall: bool = False


CLASSES = {
    "one driver": Kind(crossovers=("none",), apart_m=0.0, toed=False),
    "LR2": Kind(crossovers=("LR2 inverted",), toed=False),
    "LR4": Kind(crossovers=("LR4",), toed=False),
    "toe-in": Kind(),
    "toe-in, BW3": Kind(crossovers=("BW3", "BW3 inverted")),
    "toe-in, identical": Kind(mismatch="identical"),
    "toe-in, hard": Kind(mismatch="hard"),
    "toe-in, 20 dB": Kind(snr_db=20.0),
    "toe-in by eye": Kind(aim_std_deg=2 * AIM_STD_DEG),
    "toe-in, near wall": Kind(near_wall=True),
    "toe-in, --end 6000": Kind(end_hz=6000.0),
    "toe-in, --end 4000": Kind(end_hz=4000.0),
}


@dataclass(frozen=True, kw_only=True, slots=True)
class Trial:
    """Error and stated sigma of one layout; None where the answer was withheld."""

    arrival_mm: tuple[float, float] | None
    level_db: tuple[float, float] | None


def coverage_trials(kind: str, *, n_layouts: int, seed: int) -> Iterator[Trial]:
    """Yield one trial a layout."""
    one = CLASSES[kind]
    rng = np.random.default_rng((seed, list(CLASSES).index(kind)))
    sweep = replace(SWEEP, stop_hz=one.end_hz)
    for _ in range(n_layouts):
        layout = random_layout(rng)
        if one.near_wall:
            echo = Echo(delay_s=rng.uniform(0.4e-3, 0.9e-3), level_db=rng.uniform(-8.0, -1.0))
            layout = replace(layout, left_echoes=(*layout.left_echoes, echo))
        spectra = pair_spectra(
            layout,
            _draw_pair(one, rng),
            _draw_mounting(one, layout, rng),
            sample_rate_hz=RATE_HZ,
            duration_s=DURATION_S,
        )
        impulses = spectra.impulses(round(0.9 * DURATION_S * RATE_HZ))
        sides = heard(impulses, one.snr_db, rng, sweep=sweep)
        arrival = match_arrivals(*sides, speed_of_sound_m_s=layout.speed_of_sound_m_s)
        gate_s = direct_gate_s((sides[0], arrival.left_s), (sides[1], arrival.right_s))
        level = match_levels(
            *sides, left_s=arrival.left_s, right_s=arrival.right_s, gate_s=gate_s
        ).direct
        yield Trial(
            arrival_mm=None
            if arrival.difference_m is None or arrival.std_m is None
            else (1e3 * (arrival.difference_m - path_difference_m(layout)), 1e3 * arrival.std_m),
            level_db=_level_trial(level, spectra),
        )


def _draw_pair(kind: Kind, rng: np.random.Generator) -> Pair:
    pair = random_pair(rng, kind.mismatch)
    crossover = str(rng.choice(kind.crossovers))
    return Pair(
        left=replace(pair.left, crossover=crossover), right=replace(pair.right, crossover=crossover)
    )


def _draw_mounting(kind: Kind, layout: Layout, rng: np.random.Generator) -> Mounting:
    if not kind.toed:
        return Mounting(woofer_below_m=kind.apart_m)
    across, along = (np.array(layout.seat_m) - layout.left_m)[:2]
    common_deg = rng.uniform(0, math.degrees(math.atan2(across, along)))
    left_deg, right_deg = common_deg + rng.normal(0, kind.aim_std_deg, 2)
    return Mounting(woofer_below_m=kind.apart_m, aims_deg=(left_deg, right_deg))


def _level_trial(level: LevelDifference, spectra: PairSpectra) -> tuple[float, float] | None:
    """Return the level's error against the free field over its own band, and its sigma."""
    if level.left_minus_right_db is None or level.std_db is None or level.band_hz is None:
        return None
    grid_hz = np.geomspace(*level.band_hz, 400)
    powers = [
        np.mean(np.interp(grid_hz, spectra.frequency_hz, np.abs(row) ** 2)) for row in spectra.free
    ]
    truth_db = 10 * math.log10(powers[0] / powers[1])
    return level.left_minus_right_db - truth_db, level.std_db


def share_interval(n_within: int, n: int) -> tuple[float, float]:
    """Return Wilson's interval of 95 % of a share.

    Examples
    --------
    >>> low, high = share_interval(190, 200)
    >>> round(low, 3), round(high, 3)
    (0.91, 0.973)
    """
    z2, share = 1.96**2, n_within / n
    middle = (share + z2 / (2 * n)) / (1 + z2 / n)
    half = math.sqrt(z2 * (share * (1 - share) / n + z2 / (4 * n**2))) / (1 + z2 / n)
    return middle - half, middle + half


def row(kind: str, what: str, results: list[tuple[float, float] | None]) -> str:
    """Return one line of the table."""
    found = [one for one in results if one is not None]
    error, std = np.array(found).T
    n_within = int(np.sum(np.abs(error) < WITHIN * std))
    low, high = share_interval(n_within, error.size)
    rms = math.sqrt(float(np.mean(error**2)))
    return (
        f"| {kind:18s} | {what:11s} | {error.size:4d} | {rms:.3f} | {np.abs(error).max():.3f} "
        f"| {np.mean(std):.3f} | {100 * n_within / error.size:5.1f} % "
        f"| {100 * low:.0f} to {100 * high:.0f} % |"
    )


def main() -> None:
    """Print the table."""
    numbers = [int(word) for word in sys.argv[1:]]
    n_layouts = numbers[0] if numbers else N_LAYOUTS
    seed = numbers[1] if len(numbers) > 1 else SEED
    print(f"{n_layouts} layouts a class, seed {seed}")
    print("| class | figure | n | RMS error | worst | mean sigma | within 2 sigma | interval |")
    print("|---|---|---|---|---|---|---|---|")
    for kind in CLASSES:
        trials = list(coverage_trials(kind, n_layouts=n_layouts, seed=seed))
        print(row(kind, "arrival, mm", [trial.arrival_mm for trial in trials]), flush=True)
        print(row(kind, "level, dB", [trial.level_db for trial in trials]), flush=True)


if __name__ == "__main__":
    main()
