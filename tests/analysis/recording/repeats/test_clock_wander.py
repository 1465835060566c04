"""Lost samples against a wandering clock, from delays and ramps that are planted.

Truth: the time line x(t) is written down here, and its slope.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.recording.repeats.clock_wander import (
    RULED_OUT,
    Repeats,
    infer_time_line,
    is_steady,
)
from benchmarks.planted import default_programme

Float = NDArray[np.float64]

DRIFT = 30e-6
SPEED_OF_SOUND_M_S = 343.0


def told(order: str, line: Float, rate: Float, *, noise: float = 1.0, seed: int = 0) -> Repeats:
    """Return what passes with this lateness and rate tell, at 40 dB times a factor of noise."""
    rng = np.random.default_rng(seed)
    pairs = []
    for side in "LR":
        of_side = [at for at, letter in enumerate(order) if letter == side]
        pairs += list(pairwise(of_side))
    first, second = np.array(pairs).T
    late_std_s = np.full(first.size, 0.5e-9 * noise)
    ramp_std = np.full(first.size, 2e-9 * noise)
    return Repeats(
        at_s=reached_s(order),
        pairs=tuple(pairs),
        late_s=line[second] - line[first] + late_std_s * rng.standard_normal(first.size),
        late_std_s=late_std_s,
        ramp=rate[second] - rate[first] + ramp_std * rng.standard_normal(first.size),
        ramp_std=ramp_std,
    )


def reached_s(order: str) -> Float:
    """Return when each pass reaches 8 kHz."""
    return np.array(default_programme(order=order).starts_s) + 5.3


def off_m(order: str, late_s: Float, line: Float) -> float:
    """Return how far left minus right is off."""
    left = np.array([letter == "L" for letter in order])
    off_s = late_s - line
    return float(off_s[left].mean() - off_s[~left].mean()) * SPEED_OF_SOUND_M_S


def lost_line(order: str, after: int, n_lost: int, sample_s: float) -> tuple[Float, Float]:
    """Return the line of a steady clock that loses samples after one pass, and its rate."""
    line = DRIFT * reached_s(order)
    line[after + 1 :] -= n_lost * sample_s
    return line, np.full(line.size, DRIFT)


@pytest.mark.parametrize("order", ["LRRL", "LRLR", "RLLRRL"])
@pytest.mark.parametrize("noise", [1.0, 10.0])
def test_steady_clock_is_steady(order: str, noise: float) -> None:
    """Known input: a constant drift, 100 noises; none may pass for anything else."""
    line = DRIFT * reached_s(order)
    rate = np.full(line.size, DRIFT)
    assert all(is_steady(told(order, line, rate, noise=noise, seed=seed)) for seed in range(100))


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
@pytest.mark.parametrize("n_lost", [1, -1, 3])
@pytest.mark.parametrize("noise", [1.0, 10.0])
def test_loss_in_the_middle_is_mended(rate_hz: int, n_lost: int, noise: float) -> None:
    """Known input: in L R R L only a loss between the two R moves both sides alike."""
    line, rate = lost_line("LRRL", 1, n_lost, 1 / rate_hz)
    repeats = told("LRRL", line, rate, noise=noise)
    assert not is_steady(repeats)
    found = infer_time_line(repeats, "LRRL", sample_s=1 / rate_hz)
    assert (found.n_lost, found.lost_after) == (n_lost, 1)
    assert abs(off_m("LRRL", found.late_s, line)) < 0.1e-3
    assert found.drift == pytest.approx(DRIFT, abs=0.01e-6)


@pytest.mark.parametrize("after", [0, 2])
@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_loss_in_an_outer_pause_leaves_half_a_sample_either_way(after: int, rate_hz: int) -> None:
    """Identity: one place or the other part left minus right by one sample, and nothing tells."""
    line, rate = lost_line("LRRL", after, 1, 1 / rate_hz)
    repeats = told("LRRL", line, rate)
    assert not is_steady(repeats)
    found = infer_time_line(repeats, "LRRL", sample_s=1 / rate_hz)
    assert found.loss_probability > 0.99
    assert found.lost_after is None
    half_m = 0.5 / rate_hz * SPEED_OF_SOUND_M_S
    assert found.left_right_std_s * SPEED_OF_SOUND_M_S == pytest.approx(half_m, rel=0.05)
    assert abs(off_m("LRRL", found.late_s, line)) == pytest.approx(half_m, rel=0.05)


@pytest.mark.parametrize("after", range(5))
def test_six_passes_tell_every_pause(after: int) -> None:
    """Known input: each pause moves another set of repeats."""
    line, rate = lost_line("RLLRRL", after, 1, 1 / 48_000)
    found = infer_time_line(told("RLLRRL", line, rate), "RLLRRL", sample_s=1 / 48_000)
    assert (found.n_lost, found.lost_after) == (1, after)
    assert abs(off_m("RLLRRL", found.late_s, line)) < 0.1e-3


Wander = Callable[[Float], Float]


def sine(ppm: float, phase: float) -> tuple[Wander, Wander]:
    """Return lateness and rate of a clock that swings within 40 s."""
    turn = 2 * np.pi / 40
    return (
        lambda t: ppm * 1e-6 / turn * -np.cos(turn * t + phase),
        lambda t: ppm * 1e-6 * np.sin(turn * t + phase),
    )


@pytest.mark.parametrize("ppm", [1.0, 3.0])
@pytest.mark.parametrize("phase", [0.0, 1.0, 2.0, 3.0, 4.0, 5.0])
@pytest.mark.parametrize("order", ["LRRL", "RLLRRL"])
def test_wander_is_carried(order: str, ppm: float, phase: float) -> None:
    """Known input: a swing, which a line through the repeats gets wrong by 7 mm at 3 ppm."""
    at_s = reached_s(order)
    late, rate = sine(ppm, phase)
    line = DRIFT * at_s + late(at_s)
    repeats = told(order, line, DRIFT + rate(at_s))
    assert not is_steady(repeats)
    found = infer_time_line(repeats, order, sample_s=1 / 48_000)
    assert found.loss_probability < 0.5
    std_m = found.left_right_std_s * SPEED_OF_SOUND_M_S
    assert abs(off_m(order, found.late_s, line)) < 2 * std_m
    assert std_m < 3e-3


def test_walk_is_as_far_off_as_its_sigma_says() -> None:
    """Known input: 200 random walks of the rate, 1 ppm in 10 s, which is the model's own truth.

    The bounds are on the errors over their sigmas: root mean square, and how many lie within two.
    """
    order = "LRRL"
    at_s = reached_s(order)
    grid_s = np.arange(0, at_s[-1] + 0.05, 0.05)
    scaled = []
    for seed in range(200):
        rng = np.random.default_rng([seed, 7])
        rate = np.cumsum(rng.standard_normal(grid_s.size)) * 1e-6 * np.sqrt(0.05 / 10)
        late = np.cumsum(rate) * 0.05
        line = DRIFT * at_s + np.interp(at_s, grid_s, late)
        repeats = told(order, line, np.interp(at_s, grid_s, rate), seed=seed)
        found = infer_time_line(repeats, order, sample_s=1 / 48_000)
        scaled.append(
            off_m(order, found.late_s, line) / (found.left_right_std_s * SPEED_OF_SOUND_M_S)
        )
    assert 0.5 < float(np.sqrt(np.mean(np.square(scaled)))) < 1.2
    assert np.mean(np.abs(scaled) < 2) > 0.93


def test_order_that_cannot_tell_is_not_alarmed() -> None:
    """Limit: in L R L a loss looks like a drift, so nothing is said and no loss is carried."""
    line, rate = lost_line("LRL", 0, 1, 1 / 48_000)
    repeats = told("LRL", line, rate)
    assert is_steady(repeats)
    found = infer_time_line(repeats, "LRL", sample_s=1 / 48_000)
    assert found.loss_probability < RULED_OUT
