"""How right the nudge loop's answers are, how honest their sigma, and what they cost.

``python -m benchmarks.nudge [TRIALS] [SEED]`` records the pattern in simulated rooms of
rir-generator with pairs of three classes of mismatch, player and recorder up to 300 ppm
apart and an unknown latency, listens to it as the loop does, and prints for each
signal-to-noise ratio the error of single answers, each from three sweeps, and how often the
truth lies within two of the stated sigma. It ends with the core's time that one answer takes,
against one `analysis.pair.arrival.match_arrivals` of a reading, and its share of real time.

The truth is the geometry. Signal-to-noise ratio is RMS of the recorded sweeps over RMS of
pink noise at the microphone, as in `benchmarks.recorder`.
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Sequence
from statistics import median

import numpy as np
from numpy.typing import NDArray
from scipy.signal import oaconvolve

from analysis.pair.arrival import match_arrivals
from analysis.pair.nudge.answer import NudgeAnswer
from analysis.pair.nudge.listening import ListenState, listen
from analysis.pair.nudge.pattern import NudgePattern, nudge_pattern
from analysis.signals.impulse_response import ImpulseResponse
from analysis.signals.sweep import sweep_samples
from benchmarks.loudspeakers import random_pair
from benchmarks.recorder import noise_samples
from benchmarks.rooms import path_difference_m, random_layout, responses

Float = NDArray[np.float64]

RATE_HZ = 48_000
LEVEL_DBFS = -26.0
CLASSES = ("identical", "typical", "hard")
SNRS_DB = (40.0, 20.0, 10.0, 0.0)
N_SWEEPS = 6
STEP_S = 0.05
"""How much is recorded from one look to the next."""


def recorded(
    pattern: NudgePattern,
    impulses: Float,
    *,
    n_sweeps: int,
    clock_ppm: float = 0.0,
    latency_s: float = 0.15,
    moved_s: Sequence[tuple[float, float]] = (),
    snr_db: float | None = None,
    noise: Float | None = None,
    rng: np.random.Generator | None = None,
) -> Float:
    """Return what a microphone records of the pattern's first sweeps.

    Parameters
    ----------
    pattern : NudgePattern
    impulses : ndarray, shape (2, n)
        Left and right at the microphone, sampled by the recorder, from the emission on.
    n_sweeps : int
    clock_ppm : float
        How much faster than the player's the recorder's clock runs, in 1e-6.
    latency_s : float
        From the recorder's first sample to the player's.
    moved_s : sequence of (float, float)
        For each sweep, later arrival of left and right: a loudspeaker that was moved.
    snr_db : float, optional
        Without it no noise.
    noise : ndarray, optional
        Of unit RMS, in place of pink noise.
    rng : numpy.random.Generator, optional
        Needed for pink noise.

    Returns
    -------
    ndarray, shape (n,)
    """
    rate_hz, ratio = pattern.sample_rate_hz, 1 + clock_ppm * 1e-6
    n_samples = round((latency_s + pattern.start_s(n_sweeps) * ratio + 0.1) * rate_hz)
    played, playing = np.zeros((2, n_samples)), np.zeros(n_samples, dtype=bool)
    for index in range(n_sweeps):
        at_s = latency_s + pattern.start_s(index) * ratio
        at_s += moved_s[index][index % 2] if moved_s else 0.0
        first = math.ceil(at_s * rate_hz - 1e-9)
        samples = sweep_samples(
            pattern.sweep,
            sample_rate_hz=rate_hz,
            clock_ratio=ratio,
            advance_s=max(first / rate_hz - at_s, 0.0),
        )[: n_samples - first]
        played[index % 2, first : first + samples.size] += samples
        playing[first : first + samples.size] = True
    heard = sum(
        oaconvolve(side, response)[:n_samples]
        for side, response in zip(played, impulses, strict=True)
    )
    if snr_db is None:
        return np.asarray(heard)
    if noise is None:
        assert rng is not None
        noise = noise_samples(n_samples, sample_rate_hz=rate_hz, rng=rng)
    rms = math.sqrt(float(np.mean(np.square(heard[playing]))))
    return np.asarray(heard + noise[:n_samples] * rms * 10 ** (-snr_db / 20))


def answers_to(
    samples: Float, pattern: NudgePattern, *, speed_of_sound_m_s: float = 343.2
) -> list[tuple[float, NudgeAnswer]]:
    """Return when each answer could be given, in recorder seconds, and the answer."""
    state = ListenState(pattern=pattern)
    given = []
    step = round(STEP_S * pattern.sample_rate_hz)
    for n_recorded in range(step, samples.size + step, step):
        state, new = listen(state, samples[:n_recorded], speed_of_sound_m_s=speed_of_sound_m_s)
        given += [(n_recorded / pattern.sample_rate_hz, one) for one in new]
    return given


def trials(
    mismatch: str, snr_db: float, *, n_trials: int, seed: int
) -> list[tuple[float, float, NudgeAnswer]]:
    """Return truth in metres, time of the answer, and the answer, of many rooms."""
    rng = np.random.default_rng((seed, CLASSES.index(mismatch), round(snr_db)))
    pattern = nudge_pattern(sample_rate_hz=RATE_HZ, level_dbfs=LEVEL_DBFS)
    found = []
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
        samples = recorded(
            pattern,
            impulses,
            n_sweeps=N_SWEEPS,
            clock_ppm=float(rng.uniform(-300, 300)),
            latency_s=float(rng.uniform(0.02, 0.6)),
            snr_db=snr_db,
            rng=rng,
        )
        given = answers_to(samples, pattern, speed_of_sound_m_s=layout.speed_of_sound_m_s)
        found += [(path_difference_m(layout), at_s, one) for at_s, one in given]
    return found


def row(mismatch: str, snr_db: float, found: list[tuple[float, float, NudgeAnswer]]) -> str:
    """Return one line of the table."""
    sure = [
        (1e3 * (one.difference_m - truth_m), 1e3 * one.std_m)
        for truth_m, _, one in found
        if one.doubt is None and one.difference_m is not None and one.std_m is not None
    ]
    error, std = np.array(sure).T if sure else (np.full(1, np.nan), np.full(1, np.nan))
    firsts = {}
    for truth_m, at_s, _ in found:
        firsts.setdefault(truth_m, at_s)
    return (
        f"| {mismatch:9s} | {snr_db:3.0f} dB | {len(found):4d} "
        f"| {math.sqrt(float(np.mean(error**2))):.3f} | {float(np.abs(error).max()):.2f} "
        f"| {100 * (1 - len(sure) / max(len(found), 1)):4.1f} % | {float(np.mean(std)):.3f} "
        f"| {100 * float(np.mean(np.abs(error) < 2 * std)):5.1f} % "
        f"| {max(firsts.values(), default=math.nan):.2f} s, {len(firsts)} |"
    )


def cost() -> list[str]:
    """Return what one answer costs, as a ratio and in milliseconds, and the share of a core."""
    rng = np.random.default_rng(1)
    pattern = nudge_pattern(sample_rate_hz=RATE_HZ, level_dbfs=LEVEL_DBFS)
    time_s = np.arange(RATE_HZ // 4) / RATE_HZ
    impulses = 0.02 * rng.standard_normal((2, time_s.size)) * np.exp(-6.9 * time_s / 0.5)
    impulses[:, :480] = 0
    impulses[0, 400], impulses[1, 403] = 0.3, 0.3
    samples = recorded(pattern, impulses, n_sweeps=30, snr_db=30, rng=rng)
    reading = [
        ImpulseResponse(
            samples=one,
            sample_rate_hz=RATE_HZ,
            start_s=0.0,
            noise=1e-4 * rng.standard_normal(RATE_HZ),
            band_hz=(15.0, 22_000.0),
        )
        for one in impulses
    ]
    taken_s: list[float] = []
    baseline_s: list[float] = []
    state = ListenState(pattern=pattern)
    step = round(STEP_S * RATE_HZ)
    whole_s = 0.0
    for n_recorded in range(step, samples.size + step, step):
        begin = time.process_time()
        state, new = listen(state, samples[:n_recorded], speed_of_sound_m_s=343.2)
        took_s = time.process_time() - begin
        whole_s += took_s
        if new:
            taken_s.append(took_s / len(new))
            begin = time.process_time()
            match_arrivals(*reading, speed_of_sound_m_s=343.2)
            baseline_s.append(time.process_time() - begin)
    per_answer, baseline = median(taken_s[1:]), median(baseline_s[1:])
    share = whole_s / (samples.size / RATE_HZ)
    return [
        f"one answer: {per_answer / baseline:.2f} x one match_arrivals of a reading "
        f"({per_answer * 1e3:.1f} ms of a core here, the quickest {min(taken_s) * 1e3:.1f} ms)",
        f"the whole analysis: {share:.1%} of a core in real time",
    ]


def main() -> None:
    """Print the table and the cost."""
    numbers = [int(word) for word in sys.argv[1:] if word.isdigit()]
    n_trials = numbers[0] if numbers else 50
    seed = numbers[1] if len(numbers) > 1 else 1
    print(f"single answers of three sweeps, seed {seed}; errors in mm")
    print(
        "| pair      | SNR   | n    | RMS   | worst | unsure | mean sigma | within 2 sigma "
        "| latest first answer, recordings answered |"
    )
    print("|---|---|---|---|---|---|---|---|---|")
    for mismatch in CLASSES:
        for snr_db in SNRS_DB:
            print(
                row(mismatch, snr_db, trials(mismatch, snr_db, n_trials=n_trials, seed=seed)),
                flush=True,
            )
    print(*cost(), sep="\n")


if __name__ == "__main__":
    main()
