"""How right the arrival match is, and how honest its uncertainty: the table of the docs.

``python -m benchmarks.accuracy [TRIALS] [SEED]`` simulates rooms with pyroomacoustics and
pairs of three classes of mismatch (`benchmarks.loudspeakers`), adds noise as a recording
would carry it through the deconvolution, and prints for each signal-to-noise ratio the
error and how often the truth lies within two of the stated sigma.

``python -m benchmarks.accuracy --recordings TRIALS [SEED]`` does the same with whole
recordings of the default programme: player and recorder with clocks 0 to 200 ppm apart,
rooms from rir-generator, everything read from the samples.

The truth is the geometry. Signal-to-noise ratio is RMS of the recorded sweep over RMS of
pink noise at the microphone.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from analysis.pair.arrival import ArrivalMatch, match_arrivals
from analysis.recording.alignment import align_passes
from analysis.recording.responses import average_passes
from analysis.signals.deconvolution import inverse_sweep
from analysis.signals.impulse_response import ImpulseResponse
from analysis.signals.programme import Programme
from analysis.signals.sweep import Sweep, sweep_samples
from benchmarks.loudspeakers import random_pair
from benchmarks.recorder import record
from benchmarks.rooms import Layout, path_difference_m, random_layout, responses

RATE_HZ = 48_000
SWEEP = Sweep(start_hz=15.0, stop_hz=22_000.0, duration_s=6.0, level_dbfs=-20.0)
PROGRAMME = Programme(sweep=SWEEP, order="LRRL", sample_rate_hz=RATE_HZ, lead_in_s=1.0, tail_s=1.5)
SNRS_DB = (40.0, 20.0, 5.0)
CLASSES = ("identical", "typical", "hard")
PAIRS_A_ROOM = 10
NOISE_S = 1.5
Float = NDArray[np.float64]
Trial = tuple[float, ArrivalMatch]


@lru_cache(maxsize=8)
def _shapes(n_samples: int, sweep: Sweep) -> tuple[Float, Float, Float, Float]:
    """Return frequency, inverse's gain, band of the division, and the sweep's energy."""
    n_long = fft.next_fast_len(round(7.6 * RATE_HZ), real=True)
    inverse = inverse_sweep(sweep, sample_rate_hz=RATE_HZ, n_fft=n_long).spectrum
    played = fft.rfft(sweep_samples(sweep, sample_rate_hz=RATE_HZ), n_long)
    long_hz = fft.rfftfreq(n_long, 1 / RATE_HZ)
    short_hz = fft.rfftfreq(n_samples, 1 / RATE_HZ)
    curves = (np.abs(inverse), (played * inverse).real, np.abs(played) ** 2)
    resampled = [np.interp(short_hz, long_hz, curve) for curve in curves]
    return short_hz, resampled[0], resampled[1], resampled[2]


def _deconvolved_noise(n_samples: int, sweep: Sweep, rng: np.random.Generator) -> Float:
    """Return pink noise of RMS 1 at the microphone, deconvolved, the mean of two passes."""
    frequency_hz, gain, _, _ = _shapes(n_samples, sweep)
    amplitude = 1 / np.sqrt(np.maximum(frequency_hz, 10.0))
    amplitude /= math.sqrt(2 * float(np.sum(amplitude**2)) / n_samples)
    white = fft.rfft(rng.standard_normal(n_samples))
    return np.asarray(fft.irfft(white * amplitude * gain, n_samples) / math.sqrt(2))


def heard(
    impulses: Float, snr_db: float, rng: np.random.Generator, *, sweep: Sweep = SWEEP
) -> list[ImpulseResponse]:
    """Return both responses as a recording at a signal-to-noise ratio would give them."""
    n_samples = impulses.shape[1]
    n_fft = fft.next_fast_len(2 * n_samples, real=True)
    _, _, band, energy = _shapes(n_fft, sweep)
    spectra = fft.rfft(impulses, n_fft)
    power = 2 * np.sum(np.abs(spectra) ** 2 * energy, axis=1) / n_fft
    level = math.sqrt(float(power.mean()) / (sweep.duration_s * RATE_HZ))
    clean = fft.irfft(spectra * band, n_fft)[:, :n_samples]
    n_alone = round(NOISE_S * RATE_HZ)
    n_noise = fft.next_fast_len(n_alone + n_samples + 1000, real=True)
    sides = []
    for row in clean:
        noise = _deconvolved_noise(n_noise, sweep, rng) * level * 10 ** (-snr_db / 20)
        sides.append(
            ImpulseResponse(
                samples=row + noise[n_alone + 500 :][:n_samples],
                sample_rate_hz=RATE_HZ,
                start_s=0.0,
                noise=noise[:n_alone],
                band_hz=(sweep.start_hz, sweep.stop_hz),
                n_repeats=2,
            )
        )
    return sides


def impulse_trials(mismatch: str, snr_db: float, *, n_trials: int, seed: int) -> Iterator[Trial]:
    """Yield the truth and the match of simulated responses, some pairs a room."""
    rng = np.random.default_rng((seed, CLASSES.index(mismatch), round(snr_db)))
    layout: Layout | None = None
    for index in range(n_trials):
        if layout is None or index % PAIRS_A_ROOM == 0:
            layout = random_layout(rng)
        impulses = responses(
            layout,
            random_pair(rng, mismatch),
            sample_rate_hz=RATE_HZ,
            duration_s=0.06,
            simulator="rir_generator" if index % 2 else "pyroomacoustics",
        )
        left, right = heard(impulses, snr_db, rng)
        match = match_arrivals(left, right, speed_of_sound_m_s=layout.speed_of_sound_m_s)
        yield path_difference_m(layout), match


def recording_trials(mismatch: str, snr_db: float, *, n_trials: int, seed: int) -> Iterator[Trial]:
    """Yield the truth and the match of whole recordings with clocks apart."""
    rng = np.random.default_rng((seed, CLASSES.index(mismatch), round(snr_db), 1))
    for _ in range(n_trials):
        layout = random_layout(rng)
        impulses = responses(
            layout,
            random_pair(rng, mismatch),
            sample_rate_hz=RATE_HZ,
            duration_s=0.4,
            max_order=8,
            simulator="rir_generator",
        )
        samples = record(
            PROGRAMME,
            impulses,
            clock_ppm=float(rng.uniform(-200, 200)),
            snr_db=snr_db,
            rng=rng,
            start_s=float(rng.uniform(0.2, 3.0)),
        )
        aligned = align_passes(samples, PROGRAMME)
        left, right = average_passes(aligned, PROGRAMME)
        assert left is not None
        assert right is not None
        yield (
            path_difference_m(layout),
            match_arrivals(
                left.response,
                right.response,
                speed_of_sound_m_s=layout.speed_of_sound_m_s,
                clock_std_s=aligned.clock.left_right_std_s,
            ),
        )


def row(mismatch: str, snr_db: float, trials: list[Trial]) -> str:
    """Return one line of the table."""
    errors_mm, scaled, stds_mm = [], [], []
    for truth_m, match in trials:
        if match.difference_m is None or match.std_m is None:
            continue
        errors_mm.append((match.difference_m - truth_m) * 1e3)
        stds_mm.append(match.std_m * 1e3)
        scaled.append(abs(errors_mm[-1]) / stds_mm[-1])
    error = np.array(errors_mm)
    withheld = 100 * (1 - len(error) / len(trials))
    return (
        f"| {mismatch:9s} | {snr_db:3.0f} dB | {len(trials):4d} "
        f"| {math.sqrt(float(np.mean(error**2))):.4f} | {float(np.abs(error).max()):.3f} "
        f"| {withheld:3.0f} % | {float(np.mean(stds_mm)):.4f} "
        f"| {100 * float(np.mean(np.array(scaled) < 2)):5.1f} % |"
    )


def main() -> None:
    """Print the table."""
    words = sys.argv[1:]
    whole = "--recordings" in words
    numbers = [int(word) for word in words if word.isdigit()]
    n_trials = numbers[0] if numbers else (20 if whole else 200)
    seed = numbers[1] if len(numbers) > 1 else 1
    source = recording_trials if whole else impulse_trials
    print(f"{'whole recordings' if whole else 'impulse responses'}, seed {seed}; errors in mm")
    print("| pair      | SNR    |  n   | RMS    | worst | withheld | mean sigma | within 2 sigma |")
    print("|-----------|--------|------|--------|-------|-------|--------|---------|")
    for mismatch in CLASSES:
        for snr_db in SNRS_DB:
            trials = list(source(mismatch, snr_db, n_trials=n_trials, seed=seed))
            print(row(mismatch, snr_db, trials), flush=True)


if __name__ == "__main__":
    main()
