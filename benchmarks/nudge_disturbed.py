"""What the nudge loop says while somebody coughs, talks, walks, or the recording loses samples.

``python -m benchmarks.nudge_disturbed [TRIALS] [SEED]`` records some eight seconds of the
pattern in simulated rooms at 30 dB and adds one disturbance of each kind at a random moment
and level, and prints how many of the answers that used a disturbed sweep were marked unsure,
how many of those not marked were wrong (by more than three sigma, and by more than that and
a millimetre), the worst of them, and how many answers away from the disturbance were marked
for nothing.

The sounds are made from noise and resonances by rule; none is a recording. Levels are RMS
over the sound's length against the RMS of the recorded sweeps.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, lfilter, sosfilt

from analysis.pair.nudge.answer import NudgeAnswer
from analysis.pair.nudge.listening import ListenState, listen
from analysis.pair.nudge.pattern import NudgePattern, nudge_pattern
from analysis.pair.nudge.track import NudgeTrack, follow
from benchmarks.loudspeakers import random_pair
from benchmarks.nudge import LEVEL_DBFS, RATE_HZ, STEP_S, recorded
from benchmarks.rooms import path_difference_m, random_layout, responses

Float = NDArray[np.float64]
Rng = np.random.Generator

N_SWEEPS = 28


def filtered_noise(n: int, rng: Rng, low_hz: float, high_hz: float) -> Float:
    """Return Gaussian noise in a band."""
    sos = butter(2, (low_hz, high_hz), "bandpass", fs=RATE_HZ, output="sos")
    return np.asarray(sosfilt(sos, rng.standard_normal(n)))


def cough(rng: Rng) -> Float:
    """Return two bursts of noise of a throat's colour, each with a sharp start."""
    time_s = np.arange(round(0.45 * RATE_HZ)) / RATE_HZ
    shape = np.exp(-time_s / 0.06) + 0.7 * (time_s > 0.22) * np.exp(-(time_s - 0.22) / 0.05)
    return filtered_noise(time_s.size, rng, 300, 7000) * shape


def speech(rng: Rng) -> Float:
    """Return a second and a half of voiced syllables with formants, and hisses between them."""
    n = round(1.5 * RATE_HZ)
    time_s = np.arange(n) / RATE_HZ
    pitch_hz = rng.uniform(90, 220) * (1 + 0.1 * np.sin(2 * np.pi * 1.3 * time_s))
    pulses = np.diff(np.floor(np.cumsum(pitch_hz) / RATE_HZ), prepend=0.0)
    voice = np.zeros(n)
    for formant_hz in (rng.uniform(300, 800), rng.uniform(900, 2000), rng.uniform(2300, 3500)):
        radius = math.exp(-math.pi * 90 / RATE_HZ)
        turn = 2 * math.cos(2 * math.pi * formant_hz / RATE_HZ)
        voice += lfilter([1 - radius], [1, -radius * turn, radius**2], pulses)
    syllable = np.clip(np.sin(2 * np.pi * rng.uniform(3, 5) * time_s), 0, 1)
    hiss = filtered_noise(n, rng, 3500, 9000) * np.clip(-np.sin(2 * np.pi * 4 * time_s), 0, 1)
    return voice / np.std(voice) * syllable + 0.3 * hiss / np.std(hiss)


def creak(rng: Rng) -> Float:
    """Return a chair: half a second of clicks that excite wooden resonances."""
    n = round(0.5 * RATE_HZ)
    clicks = np.zeros(n)
    at = rng.integers(0, n, rng.integers(15, 50))
    clicks[at] = rng.standard_normal(at.size)
    sound = np.zeros(n)
    for _ in range(5):
        ring_hz, radius = rng.uniform(500, 6000), math.exp(-math.pi * 150 / RATE_HZ)
        turn = 2 * math.cos(2 * math.pi * ring_hz / RATE_HZ)
        sound += lfilter([1], [1, -radius * turn, radius**2], clicks)
    return sound


def door(rng: Rng) -> Float:
    """Return a thump and the click of a latch."""
    n = round(0.4 * RATE_HZ)
    time_s = np.arange(n) / RATE_HZ
    thump = filtered_noise(n, rng, 30, 200) * np.exp(-time_s / 0.1)
    click = filtered_noise(n, rng, 1000, 10_000) * np.exp(-np.abs(time_s - 0.08) / 0.003)
    return thump / np.std(thump) + click / np.std(click)


SOUNDS: dict[str, Callable[[Rng], Float]] = {
    "cough": cough,
    "speech": speech,
    "creak": creak,
    "door": door,
}


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Disturbed:
    """A recording with a disturbance between two moments, in recorder seconds."""

    samples: Float
    from_s: float
    to_s: float


def with_sound(samples: Float, kind: str, rng: Rng) -> Disturbed:
    """Add a sound at a random moment, 20 dB below to 20 dB above the sweeps."""
    sound = SOUNDS[kind](rng)
    level_db = rng.uniform(-20, 20)
    rms = math.sqrt(float(np.mean(samples**2))) * math.sqrt(0.28 / 0.12)
    first = round(rng.uniform(2.5, 5.0) * RATE_HZ)
    louder = samples.copy()
    louder[first : first + sound.size] += (
        sound * rms * 10 ** (level_db / 20) / math.sqrt(float(np.mean(sound**2)))
    )
    return Disturbed(samples=louder, from_s=first / RATE_HZ, to_s=(first + sound.size) / RATE_HZ)


def with_walker(samples: Float, kind: str, rng: Rng) -> Disturbed:  # noqa: ARG001
    """Add an echo whose delay and level change as of somebody who walks by, with footsteps."""
    n = round(2.0 * RATE_HZ)
    first = round(rng.uniform(2.5, 4.0) * RATE_HZ)
    time_s = np.arange(n) / RATE_HZ
    closest_s, speed = rng.uniform(0.6e-3, 3e-3), rng.uniform(0.8, 1.5)
    delay_s = closest_s + np.hypot(0.3, speed * (time_s - 1.0)) / 343 - 0.3 / 343
    level = 10 ** (rng.uniform(-22, -10) / 20) * np.sin(np.pi * time_s / 2.0) ** 2
    at = np.arange(first, first + n) - delay_s * RATE_HZ
    louder = samples.copy()
    louder[first : first + n] += level * np.interp(at, np.arange(samples.size), samples)
    for step_s in np.arange(0.2, 2.0, 0.55):
        k = first + round(step_s * RATE_HZ)
        thump = filtered_noise(4800, rng, 30, 300) * np.exp(-np.arange(4800) / 1200)
        louder[k : k + 4800] += 0.3 * np.std(samples) * thump / np.std(thump)
    return Disturbed(samples=louder, from_s=first / RATE_HZ, to_s=first / RATE_HZ + 2.0)


def with_gap(samples: Float, kind: str, rng: Rng) -> Disturbed:
    """Lose or repeat 16 to 2048 samples, without a sign."""
    n_lost = round(math.exp(rng.uniform(math.log(16), math.log(2048))))
    first = round(rng.uniform(2.5, 5.0) * RATE_HZ)
    last = first - n_lost if kind == "repeated" else first + n_lost
    joined = np.concatenate((samples[:first], samples[last:]))
    return Disturbed(samples=joined, from_s=first / RATE_HZ, to_s=first / RATE_HZ)


DISTURBANCES: dict[str, Callable[[Float, str, Rng], Disturbed]] = {
    **dict.fromkeys(SOUNDS, with_sound),
    "walker": with_walker,
    "lost": with_gap,
    "repeated": with_gap,
}


def followed(samples: Float, pattern: NudgePattern, speed_of_sound_m_s: float) -> list[NudgeAnswer]:
    """Return the answers as the loop gives them, the row of answers known."""
    state = ListenState(pattern=pattern)
    track = NudgeTrack(tolerance_m=2e-3, move="left", speed_of_sound_m_s=speed_of_sound_m_s)
    answers = []
    step = round(STEP_S * RATE_HZ)
    for n_recorded in range(step, samples.size + step, step):
        state, new = listen(
            state,
            samples[:n_recorded],
            speed_of_sound_m_s=speed_of_sound_m_s,
            clock_ppm=track.clock_ppm,
        )
        for one in new:
            track = follow(track, one)
            assert track.latest is not None
            answers.append(track.latest)
    return answers


def trial(kind: str, rng: Rng) -> tuple[list[tuple[bool, bool, float, float]], str]:
    """Return of each answer: disturbed, sure, error and sigma in mm; and the doubts."""
    layout = random_layout(rng)
    impulses = responses(
        layout,
        random_pair(rng, "typical"),
        sample_rate_hz=RATE_HZ,
        duration_s=0.4,
        max_order=8,
        simulator="rir_generator",
    )
    pattern = nudge_pattern(sample_rate_hz=RATE_HZ, level_dbfs=LEVEL_DBFS)
    latency_s = float(rng.uniform(0.02, 0.4))
    clean = recorded(
        pattern,
        impulses,
        n_sweeps=N_SWEEPS,
        clock_ppm=float(rng.uniform(-100, 100)),
        latency_s=latency_s,
        snr_db=30,
        rng=rng,
    )
    disturbed = DISTURBANCES[kind](clean, kind, rng)
    found, doubts = [], []
    for one in followed(disturbed.samples, pattern, layout.speed_of_sound_m_s):
        begin_s = pattern.start_s(one.index - 2) + latency_s - 0.05
        end_s = pattern.start_s(one.index) + latency_s + 0.2
        hit = begin_s < disturbed.to_s + 0.05 and end_s > disturbed.from_s
        sure = one.doubt is None and one.difference_m is not None
        error_mm = 1e3 * ((one.difference_m or 0.0) - path_difference_m(layout))
        found.append((hit, sure, error_mm, 1e3 * (one.std_m or math.nan)))
        if one.doubt is not None:
            doubts.append(one.doubt.value)
    return found, " ".join(sorted(set(doubts)))


def row(kind: str, n_trials: int, seed: int) -> str:
    """Return one line of the table."""
    rng = np.random.default_rng((seed, list(DISTURBANCES).index(kind)))
    answers: list[tuple[bool, bool, float, float]] = []
    doubts: set[str] = set()
    for _ in range(n_trials):
        found, said = trial(kind, rng)
        answers += found
        doubts |= set(said.split())
    hit, sure, error, std = (np.array(column) for column in zip(*answers, strict=True))
    trusted = hit & sure
    off = np.abs(error[trusted])
    return (
        f"| {kind:8s} | {int(hit.sum()):4d} | {100 * float(np.mean(~sure[hit])):3.0f} % "
        f"| {int(np.sum(off > 3 * std[trusted])):3d} "
        f"| {int(np.sum(off > np.hypot(3 * std[trusted], 1.0))):3d} "
        f"| {float(off.max(initial=0)):.2f} | {100 * float(np.mean(~sure[~hit])):3.1f} % "
        f"| {', '.join(sorted(doubts))} |"
    )


def main() -> None:
    """Print the table."""
    numbers = [int(word) for word in sys.argv[1:] if word.isdigit()]
    n_trials = numbers[0] if numbers else 30
    seed = numbers[1] if len(numbers) > 1 else 1
    print(f"one disturbance in each of {n_trials} recordings, seed {seed}; errors in mm")
    print(
        "| kind | answers | unsure | sure, off by > 3 sigma | and by > 1 mm | worst sure "
        "| unsure elsewhere | doubts |"
    )
    print("|---|---|---|---|---|---|---|---|")
    for kind in DISTURBANCES:
        print(row(kind, n_trials, seed), flush=True)


if __name__ == "__main__":
    main()
