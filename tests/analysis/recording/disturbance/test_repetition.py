"""Which passes are worth playing again."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.recording.disturbance.repetition import passes_to_repeat
from analysis.signals.programme import Programme
from analysis.signals.sweep import Sweep, sweep_samples

RATE_HZ = 48_000
PROGRAMME = Programme(
    sweep=Sweep(start_hz=30, stop_hz=20_000, duration_s=1.5, level_dbfs=-20, top_taper_db=6),
    order="LRRL",
    sample_rate_hz=RATE_HZ,
    lead_in_s=0.5,
    tail_s=0.7,
)


def recording() -> np.ndarray:
    """Return a recording in a hard room with noise 60 dB below the sweep."""
    rng = np.random.default_rng(3)
    decay = rng.standard_normal(9600) * np.exp(-np.arange(9600) / 2000) * 0.05
    decay[100] = 1.0
    swept = sweep_samples(PROGRAMME.sweep, sample_rate_hz=RATE_HZ)
    heard = np.convolve(swept, decay)
    samples = 1e-4 * rng.standard_normal(round((PROGRAMME.duration_s + 0.5) * RATE_HZ))
    for start_s in PROGRAMME.starts_s:
        first = round(start_s * RATE_HZ) + 900
        samples[first : first + heard.size] += heard
    return samples


CLEAN = recording()


def test_a_clean_recording_has_none() -> None:
    # Known input: nothing planted; also while the last decay is still to come.
    assert passes_to_repeat(CLEAN, PROGRAMME) == ()
    judged_s = PROGRAMME.starts_s[-1] + PROGRAMME.sweep.duration_s + 0.6
    assert passes_to_repeat(CLEAN[: round(judged_s * RATE_HZ)], PROGRAMME) == ()


@pytest.mark.parametrize("number", range(4))
def test_a_noise_spoils_the_pass_that_it_befell(number: int) -> None:
    # Known input: half a second of loud noise in the middle of one sweep.
    samples = CLEAN.copy()
    first = round((PROGRAMME.starts_s[number] + 0.5) * RATE_HZ)
    samples[first : first + RATE_HZ // 2] += 0.05 * np.random.default_rng(4).standard_normal(
        RATE_HZ // 2
    )
    assert passes_to_repeat(samples, PROGRAMME) == (number,)


def test_lost_samples_spoil_the_pass_that_they_befell() -> None:
    # Known input: 200 samples cut out of the third pass.
    at = round((PROGRAMME.starts_s[2] + 0.8) * RATE_HZ)
    samples = np.concatenate((CLEAN[:at], CLEAN[at + 200 :]))
    assert passes_to_repeat(samples, PROGRAMME) == (2,)


def test_a_loudspeaker_that_is_off_is_not_worth_a_repeat() -> None:
    # Known input: both left passes cut out, noise in their place.
    samples = CLEAN.copy()
    for number in (0, 3):
        first = round((PROGRAMME.starts_s[number] - 0.1) * RATE_HZ)
        last = first + round(2.2 * RATE_HZ)
        samples[first:last] = 1e-4 * np.random.default_rng(6).standard_normal(
            samples[first:last].size
        )
    assert passes_to_repeat(samples, PROGRAMME) == ()


def test_nothing_heard_is_nothing_to_repeat() -> None:
    # Known input: noise alone; a repeat would not help.
    noise = 1e-4 * np.random.default_rng(5).standard_normal(CLEAN.size)
    assert passes_to_repeat(noise, PROGRAMME) == ()
