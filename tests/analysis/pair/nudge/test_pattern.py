"""The nudge pattern: its rhythm, its samples, and finding it in a recording."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from analysis.pair.nudge.pattern import NudgePattern, nudge_pattern, period_samples, sweep_side
from analysis.pair.nudge.search import find_pattern
from analysis.signals.sweep import Sweep
from benchmarks.nudge import recorded

RATE_HZ = 48_000
PATTERN = nudge_pattern(sample_rate_hz=RATE_HZ, level_dbfs=-26)


def spikes(left: float = 1.0, right: float = 1.0) -> np.ndarray:
    """Return a direct sound and two reflections for each side, the first one the stronger."""
    pair = np.zeros((2, 4800))
    pair[:, 400], pair[:, 640], pair[:, 2000] = 0.3, 0.4, -0.1
    return pair * np.array([[left], [right]])


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000, 192_000])
def test_no_two_distances_of_the_rhythm_agree(rate_hz: int) -> None:
    """Closed form: a circular ruler is Golomb's if its cyclic differences are all different."""
    pattern = nudge_pattern(sample_rate_hz=rate_hz, level_dbfs=-26)
    starts = [pattern.start_s(index) for index in range(4)]
    apart = [
        round(1000 * ((one - other) % pattern.period_s))
        for one, other in itertools.permutations(starts, 2)
    ]
    assert len(set(apart)) == 12
    # A sweep is longer to its neighbour than what the cut and the room need.
    assert min(apart) >= 250


def test_the_samples_hold_each_sweep_where_it_starts() -> None:
    """Invariant: sides take turns with silence between, at the level asked for."""
    samples = period_samples(PATTERN)
    assert samples.shape == (2, PATTERN.period_frames)
    assert np.abs(samples).max() == pytest.approx(10 ** (-26 / 20), rel=1e-2)
    n_sweep = round(0.12 * RATE_HZ)
    for index in range(4):
        first = PATTERN.start_frame(index)
        silent = samples[1 - index % 2, first - 100 * (index > 0) : first + n_sweep]
        assert not silent.any()
        assert samples[index % 2, first : first + n_sweep].any()
    assert PATTERN.start_frame(4) == PATTERN.period_frames
    assert [sweep_side(index) for index in range(3)] == ["left", "right", "left"]
    assert abs(samples[:, 0]).max() < 1e-4
    assert abs(samples[:, -1]).max() == 0


@pytest.mark.parametrize("latency_s", [0.01, 0.3, 0.55, 0.8])
@pytest.mark.parametrize("ppm", [-300.0, 300.0])
def test_the_pattern_is_found_by_its_rhythm(latency_s: float, ppm: float) -> None:
    """Known input: latency and clock were put in; noise as loud as the sweeps."""
    rng = np.random.default_rng(int(1e3 * latency_s))
    samples = recorded(
        PATTERN, spikes(), n_sweeps=6, clock_ppm=ppm, latency_s=latency_s, snr_db=0, rng=rng
    )
    found = find_pattern(samples, PATTERN)
    assert found is not None
    assert found.left
    assert found.right
    assert found.lag_s == pytest.approx(latency_s + 400 / RATE_HZ, abs=0.008)


@pytest.mark.parametrize(("left", "right"), [(1.0, 0.0), (0.0, 1.0)])
def test_one_loudspeaker_alone_is_known_for_what_it_is(left: float, right: float) -> None:
    """Known input: the other one was silenced; only the rhythm can tell which."""
    rng = np.random.default_rng(3)
    samples = recorded(PATTERN, spikes(left, right), n_sweeps=8, snr_db=20, rng=rng)
    found = find_pattern(samples, PATTERN)
    assert found is not None
    assert (found.left, found.right) == (bool(left), bool(right))
    assert found.lag_s == pytest.approx(0.15 + 400 / RATE_HZ, abs=0.008)


def test_a_recording_that_began_in_the_middle_is_placed_near_the_known_lag() -> None:
    """Invariant: cutting the start off moves nothing on the recorder's axis."""
    samples = recorded(PATTERN, spikes(), n_sweeps=14, latency_s=0.4)
    cut = find_pattern(samples[70_000:], PATTERN, first_s=70_000 / RATE_HZ, near_lag_s=0.41)
    assert cut is not None
    assert cut.lag_s == pytest.approx(0.4 + 400 / RATE_HZ, abs=0.008)


def test_noise_silence_and_another_rhythm_are_not_found() -> None:
    """Known input: nothing of the pattern is in them."""
    rng = np.random.default_rng(1)
    assert find_pattern(np.zeros(3 * RATE_HZ), PATTERN) is None
    assert find_pattern(np.full(3 * RATE_HZ, np.nan), PATTERN) is None
    for _ in range(5):
        assert find_pattern(rng.standard_normal(2 * RATE_HZ), PATTERN) is None
    even = np.zeros(3 * RATE_HZ)
    even[10_000::15_000] = 1.0
    assert find_pattern(even, PATTERN) is None


def test_a_pattern_that_would_not_work_is_refused() -> None:
    """Known input: each rule broken once."""
    sweep = Sweep(start_hz=600, stop_hz=20_000, duration_s=0.12, level_dbfs=-26)
    with pytest.raises(ValueError, match="half the sampling frequency"):
        NudgePattern(sweep=sweep, sample_rate_hz=32_000)
    with pytest.raises(ValueError, match="looks alike"):
        NudgePattern(sweep=sweep, sample_rate_hz=RATE_HZ, gaps_s=(0.25, 0.27, 0.25, 0.27))
    with pytest.raises(ValueError, match="at least twice"):
        NudgePattern(sweep=sweep, sample_rate_hz=RATE_HZ, gaps_s=(0.2, 0.27, 0.31, 0.29))
