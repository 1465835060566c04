"""Print how often the polarity is wrong or open, and how far the level is out.

Run from the repository's root: ``python -m benchmarks.level_and_polarity [TRIALS]``.

Each trial is a random box room by image sources (rir-generator, its high-pass off), a
pair of invented loudspeakers that differ a little, at random wired alike or not, and pink
noise at the microphone; left and right are swept for 6 s each and deconvolved by plain
regularised division. The arrival is given to within 20 us, one sigma.
"""

from __future__ import annotations

import math
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import rir_generator
from numpy.typing import NDArray
from scipy import fft

from analysis.pair.level import LevelMatch, match_levels
from analysis.pair.polarity import PolarityMatch, match_polarity
from analysis.signals.impulse_response import ImpulseResponse
from analysis.signals.programme import Programme
from analysis.signals.sweep import Sweep, sweep_samples
from benchmarks.crossovers import Loudspeaker, random_loudspeaker
from benchmarks.recorder import record

Float = NDArray[np.float64]

RATE_HZ = 48_000
SPEED_M_S = 343.2
GATE_S = 1.4e-3
SNRS_DB = (40.0, 20.0, 5.0, -5.0)
N_ROOMS = 40
PROGRAMME = Programme(
    sweep=Sweep(start_hz=15, stop_hz=22_000, duration_s=6, level_dbfs=-20),
    order="LR",
    sample_rate_hz=RATE_HZ,
    lead_in_s=0.5,
    tail_s=1.5,
)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class PairResponses:
    """A room's responses to a pair of points, index 0 = emission, unit at one metre."""

    responses: Float
    arrivals_s: tuple[float, float]


def random_pair_responses(rng: np.random.Generator, *, n_samples: int = 24_000) -> PairResponses:
    """Return a random box room with a pair some 2 to 3 m from the seat."""
    size_m = np.array([rng.uniform(3.2, 6), rng.uniform(4.2, 7.5), rng.uniform(2.3, 3)])
    centre_m = size_m[0] / 2 + rng.uniform(-0.3, 0.3)
    side_m = rng.uniform(0.8, min(1.25, centre_m - 0.3, size_m[0] - centre_m - 0.3))
    front_m = rng.uniform(0.5, 1.2)
    depth_m = rng.uniform(1.5, min(2.6, size_m[1] - front_m - 0.5))
    height_m = rng.uniform(0.8, 1.1)
    seat = np.array([centre_m, front_m + depth_m, height_m + rng.uniform(-0.05, 0.2)])
    reflection = np.sqrt(1 - rng.uniform(0.1, 0.6, 6))
    responses, arrivals_s = [], []
    for sign in (-1, 1):
        source = np.array([centre_m + sign * side_m, front_m, height_m]) + rng.normal(0, 0.015, 3)
        response = rir_generator.generate(
            c=SPEED_M_S, fs=RATE_HZ, r=seat, s=source, L=size_m, beta=reflection,
            nsample=n_samples, order=14, hp_filter=False,
        )  # fmt: skip
        responses.append(4 * np.pi * response[:, 0])
        arrivals_s.append(float(np.linalg.norm(source - seat)) / SPEED_M_S)
    return PairResponses(responses=np.array(responses), arrivals_s=(arrivals_s[0], arrivals_s[1]))


def through(room: PairResponses, pair: tuple[Loudspeaker, Loudspeaker]) -> Float:
    """Return the room's responses to a pair of loudspeakers."""
    n_fft = 2 * room.responses.shape[1]
    frequency_hz = np.maximum(fft.rfftfreq(n_fft, 1 / RATE_HZ), 1e-3)
    own = np.array([loudspeaker.response(frequency_hz) for loudspeaker in pair])
    own[:, -1] = own[:, -1].real
    spectrum = fft.rfft(room.responses, n_fft, axis=-1) * own
    return np.asarray(fft.irfft(spectrum, n_fft, axis=-1)[:, : n_fft // 2])


def deconvolved(samples: Float) -> Float:
    """Return both passes' responses from 1.2 s before emission to 1 s after, shape (2, n)."""
    sweep = PROGRAMME.sweep
    lead, length = round(1.2 * RATE_HZ), round((sweep.duration_s + 1.4) * RATE_HZ)
    n_fft = fft.next_fast_len(lead + length, real=True)
    played = fft.rfft(sweep_samples(sweep, sample_rate_hz=RATE_HZ), n_fft)
    frequency_hz = fft.rfftfreq(n_fft, 1 / RATE_HZ)
    power = played.real**2 + played.imag**2
    inside = (frequency_hz > sweep.start_hz) & (frequency_hz < sweep.stop_hz)
    inverse = np.conj(played) / (power + np.where(inside, 1e-8, 1.0) * power.max())
    responses = []
    for start_s in PROGRAMME.starts_s:
        first = round((1.0 + start_s) * RATE_HZ)
        cut = samples[first : first + length]
        response = fft.irfft(fft.rfft(cut, n_fft) * inverse, n_fft)
        responses.append(np.roll(response, lead)[: lead + RATE_HZ])
    return np.array(responses)


def pair_of_responses(both: Float) -> tuple[ImpulseResponse, ImpulseResponse]:
    """Return left and right as records: the causal part, and the noise before it."""
    zero = round(1.2 * RATE_HZ)
    left, right = (
        ImpulseResponse(
            samples=samples[zero : zero + round(0.5 * RATE_HZ)],
            sample_rate_hz=RATE_HZ,
            start_s=0.0,
            noise=samples[: round(1.0 * RATE_HZ)],
            band_hz=(PROGRAMME.sweep.start_hz, PROGRAMME.sweep.stop_hz),
        )
        for samples in both
    )
    return left, right


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Trial:
    """One pair in one room: what was heard, clean and the noise at 0 dB, and the truth."""

    clean: Float
    noise: Float
    arrivals_s: tuple[float, float]
    signs: tuple[int, int]
    ways: int

    def heard(self, snr_db: float) -> tuple[ImpulseResponse, ImpulseResponse]:
        """Return both responses with noise at a ratio."""
        return pair_of_responses(self.clean + self.noise * 10 ** (-snr_db / 20))


def trials(n_trials: int, rng: np.random.Generator) -> Iterator[Trial]:
    """Draw rooms, pairs and noise."""
    rooms = [random_pair_responses(rng) for _ in range(min(N_ROOMS, n_trials))]
    for index in range(n_trials):
        room = rooms[index % len(rooms)]
        ways = int(rng.choice([2, 2, 3]))
        design = random_loudspeaker(rng, ways=ways)
        amount = rng.choice([0.0, 1.0, 3.0])
        signs = rng.choice([1, -1], 2)
        pair = [design.varied(rng, amount) for _ in signs]
        responses = signs[:, np.newaxis] * through(room, (pair[0], pair[1]))
        clean = record(PROGRAMME, responses)
        noisy = record(PROGRAMME, responses, snr_db=0.0, rng=rng)
        errors_s = rng.normal(0, 20e-6, 2)
        yield Trial(
            clean=deconvolved(clean),
            noise=deconvolved(noisy - clean),
            arrivals_s=(
                room.arrivals_s[0] + errors_s[0],
                room.arrivals_s[1] + errors_s[1],
            ),
            signs=(int(signs[0]), int(signs[1])),
            ways=ways,
        )


def main(n_trials: int) -> None:
    """Print all tables."""
    polarity = {snr_db: Counter[tuple[str, str]]() for snr_db in SNRS_DB}
    level: dict[tuple[str, float], list[tuple[float, float]]] = {}
    for trial in trials(n_trials, np.random.default_rng(20_240)):
        left_s, right_s = trial.arrivals_s
        where = {"left_s": left_s, "right_s": right_s}
        truth = match_levels(*pair_of_responses(trial.clean), **where, gate_s=GATE_S)
        for snr_db in SNRS_DB:
            heard = trial.heard(snr_db)
            _count(polarity[snr_db], trial, match_polarity(*heard, **where))
            found = match_levels(*heard, **where, gate_s=GATE_S)
            for name in ("direct", "seat"):
                one, true = getattr(found, name), getattr(truth, name)
                if one.left_minus_right_db is not None:
                    error_db = one.left_minus_right_db - true.left_minus_right_db
                    level.setdefault((name, snr_db), []).append((error_db, one.std_db))
    _print_polarity(polarity)
    _print_level(level, n_trials)
    _print_points(np.random.default_rng(3))


def _count(counter: Counter[tuple[str, str]], trial: Trial, found: PolarityMatch) -> None:
    """Count right, wrong and open answers."""
    answers: list[tuple[str, int | None, int]] = [
        ("agreement", found.matched, trial.signs[0] == trial.signs[1])
    ]
    for side, sign in zip(("left", "right"), trial.signs, strict=True):
        answers.append((f"sign, {trial.ways} ways", getattr(found, side), sign))
    for name, answer, true in answers:
        counter[name, "open" if answer is None else "right" if answer == true else "wrong"] += 1


def _print_polarity(polarity: dict[float, Counter[tuple[str, str]]]) -> None:
    sys.stdout.write("Polarity: answers in per cent\n")
    sys.stdout.write(f"{'':>14} {'SNR dB':>7} {'n':>5} {'wrong':>6} {'open':>6}\n")
    for name in ("agreement", "sign, 2 ways", "sign, 3 ways"):
        for snr_db, counter in polarity.items():
            n = sum(count for (key, _), count in counter.items() if key == name)
            wrong, open_ = (100 * counter[name, word] / max(n, 1) for word in ("wrong", "open"))
            sys.stdout.write(f"{name:>14} {snr_db:7.0f} {n:5d} {wrong:6.1f} {open_:6.1f}\n")


def _print_level(level: dict[tuple[str, float], list[tuple[float, float]]], n: int) -> None:
    sys.stdout.write("\nLevel: error by noise in dB\n")
    heads = ("", "SNR dB", "withheld %", "RMS error", "stated", "in 2 sigma %")
    sys.stdout.write("{:>7} {:>7} {:>10} {:>9} {:>7} {:>12}\n".format(*heads))
    for (name, snr_db), found in level.items():
        error_db, std_db = np.array(found).T
        rms = math.sqrt(float(np.mean(error_db**2)))
        stated = math.sqrt(float(np.mean(std_db**2)))
        inside = 100 * float(np.mean(np.abs(error_db) < 2 * std_db))
        withheld = 100 * (1 - len(found) / n)
        sys.stdout.write(
            f"{name:>7} {snr_db:7.0f} {withheld:10.1f} {rms:9.4f} {stated:7.4f} {inside:12.1f}\n"
        )


def _print_points(rng: np.random.Generator, *, n_rooms: int = 8, n_points: int = 14) -> None:
    """Print how the seat's level varies within 0.3 m, and what a single point states."""
    print("\nSeat level from point to point, one sigma in dB, by room")
    actual_db, stated_db = [], []
    for _ in range(n_rooms):
        size_m = np.array([rng.uniform(3.6, 6), rng.uniform(4.5, 7.5), rng.uniform(2.3, 3)])
        reflection = np.sqrt(1 - rng.uniform(0.15, 0.5, 6))
        found = [_level_at_a_point(size_m, reflection, rng) for _ in range(n_points)]
        actual_db.append(np.std([one.seat.left_minus_right_db for one in found], ddof=1))
        stated_db.append(np.mean([one.seat_point_std_db for one in found]))
        print(f"{actual_db[-1]:7.2f} found {stated_db[-1]:7.2f} stated")
    rms = [math.sqrt(float(np.mean(np.square(values)))) for values in (actual_db, stated_db)]
    print(f"{rms[0]:7.2f} found {rms[1]:7.2f} stated, RMS over rooms")


def _level_at_a_point(size_m: Float, reflection: Float, rng: np.random.Generator) -> LevelMatch:
    """Return the level match of a pair of point sources within 0.3 m of a seat."""
    point = np.array([size_m[0] / 2, 3.2, 1.0]) + rng.uniform(-0.3, 0.3, 3)
    sides, arrivals_s = [], []
    for sign in (-1, 1):
        source = np.array([size_m[0] / 2 + sign * 1.1, 0.9, 0.95])
        response = rir_generator.generate(
            c=SPEED_M_S, fs=RATE_HZ, r=point, s=source, L=size_m, beta=reflection,
            nsample=20_000, order=16, hp_filter=False,
        )  # fmt: skip
        side = ImpulseResponse(
            samples=response[:, 0],
            sample_rate_hz=RATE_HZ,
            start_s=0.0,
            noise=1e-9 * rng.standard_normal(RATE_HZ // 2),
            band_hz=(15, 22_000),
        )
        sides.append(side)
        arrivals_s.append(float(np.linalg.norm(source - point)) / SPEED_M_S)
    where = {"left_s": arrivals_s[0], "right_s": arrivals_s[1]}
    return match_levels(sides[0], sides[1], **where, gate_s=GATE_S)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
