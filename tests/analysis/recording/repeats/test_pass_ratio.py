"""Delay, ramp and residual of two passes whose difference is planted.

Truth: both responses are made here from one decaying noise, the second by a known phase; a
move's size is the distance of two image-source responses (`benchmarks.rooms`, by a library).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.recording.repeats.pass_ratio import (
    PassRatio,
    fit_pass_ratio,
    hidden_distance_m,
    moved_distance_m,
)
from analysis.recording.repeats.timing_response import TimingResponse
from analysis.signals.deconvolution import LEAD_S
from analysis.signals.sweep import Sweep
from benchmarks.rooms import random_layout, random_pair, responses

Float = NDArray[np.float64]

RATE_HZ = 48_000
N = 96_000
SWEEP = Sweep(start_hz=15, stop_hz=20_000, duration_s=6, level_dbfs=-20)
BAND_HZ = (350.0, 11_700.0)


def decaying(seed: int) -> Float:
    """Return a direct sound and noise that decays behind it, at the cut's lead."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(N // 4) / RATE_HZ
    response = np.zeros(N)
    at = round(LEAD_S * RATE_HZ)
    response[at : at + time_s.size] = (
        0.05 * rng.standard_normal(time_s.size) * np.exp(-6.9 * time_s / 0.4)
    )
    response[at] += 1.0
    return response


def changed(response: Float, *, delay_s: float, ramp: float, from_s: float) -> Float:
    """Return the response with a delay that grows by `ramp` over the sweep's time."""
    frequency_hz = np.fft.rfftfreq(N, 1 / RATE_HZ)
    since_s = SWEEP.time_at(np.maximum(frequency_hz, SWEEP.start_hz)) - from_s
    turned = np.exp(-2j * np.pi * frequency_hz * (delay_s + ramp * since_s))
    return np.fft.irfft(np.fft.rfft(response) * turned, N)


def timing(response: Float, noise_rms: float, seed: int) -> TimingResponse:
    """Return it with white noise."""
    noise = noise_rms * np.random.default_rng([seed, 1]).standard_normal(2 * N)
    return TimingResponse(
        circular=response + noise[:N], sample_rate_hz=RATE_HZ, noise=noise[N : N + N // 2]
    )


def fit(first: TimingResponse, second: TimingResponse, start_s: float = 0.0, **more: object):
    """Fit them, which must be possible."""
    ratio = fit_pass_ratio(
        first,
        second,
        start_s=start_s,
        sweep=SWEEP,
        band_hz=BAND_HZ,
        **more,  # type: ignore[arg-type]
    )
    assert ratio is not None
    return ratio


@pytest.mark.parametrize("noise_rms", [3e-5, 1e-3])
@pytest.mark.parametrize(("delay_s", "ramp"), [(0.0, 0.0), (7.3e-3, 2e-6), (-20.9e-6, -0.4e-6)])
def test_delay_and_ramp_come_out(delay_s: float, ramp: float, noise_rms: float) -> None:
    """Known input: within four sigma, with a gain beside, and nothing left but noise."""
    room = decaying(1)
    late = 1.2 * changed(room, delay_s=delay_s, ramp=ramp, from_s=5.0)
    ratio = fit(timing(room, noise_rms, 2), timing(late, noise_rms, 3), delay_s + 3e-6)
    at_reference_s = delay_s + ramp * (ratio.reference_s - 5.0)
    assert abs(ratio.delay_s - at_reference_s) < 4 * ratio.delay_std_s
    assert abs(ratio.ramp - ramp) < 4 * ratio.ramp_std
    assert ratio.residual == pytest.approx(ratio.noise, rel=0.5)
    assert moved_distance_m(ratio) == 0.0


def test_sigmas_are_honest() -> None:
    """Known input: over 40 noises the errors scatter as the sigmas say, to a third."""
    room = decaying(4)
    late = changed(room, delay_s=5e-6, ramp=1e-6, from_s=5.0)
    scaled = []
    for seed in range(40):
        ratio = fit(timing(room, 3e-4, 2 * seed), timing(late, 3e-4, 2 * seed + 1))
        at_reference_s = 5e-6 + 1e-6 * (ratio.reference_s - 5.0)
        scaled.append(
            [
                (ratio.delay_s - at_reference_s) / ratio.delay_std_s,
                (ratio.ramp - 1e-6) / ratio.ramp_std,
            ]
        )
    assert np.std(scaled, axis=0) == pytest.approx(1.0, abs=0.33)


def test_disturbed_band_is_left_out() -> None:
    """Known input: a tone that would spoil the fit lies in the band that is named."""
    room = decaying(5)
    tone = 0.3 * np.sin(2 * np.pi * 4000 * np.arange(N) / RATE_HZ)
    first, second = timing(room, 1e-4, 6), timing(room + tone, 1e-4, 7)
    assert moved_distance_m(fit(first, second)) >= 0.0
    spoilt = fit(first, second)
    clean = fit(first, second, disturbed_hz=((3000.0, 5000.0),))
    assert np.max(spoilt.residual / spoilt.noise) > 10
    assert clean.residual == pytest.approx(clean.noise, rel=0.5)
    assert abs(clean.delay_s) < 4 * clean.delay_std_s


def test_no_clean_band_tells_nothing() -> None:
    """Edge: every frequency is disturbed."""
    one = timing(decaying(1), 1e-4, 1)
    ratio = fit_pass_ratio(
        one, one, start_s=0.0, sweep=SWEEP, band_hz=BAND_HZ, disturbed_hz=((0.0, 24_000.0),)
    )
    assert ratio is None


def room_ratio(seed: int, move_m: float) -> PassRatio:
    """Return the ratio of passes at two places in a simulated room, at some 40 dB."""
    rng = np.random.default_rng(seed)
    layout, pair = random_layout(rng), random_pair(rng, "typical")
    way = rng.standard_normal(3)
    x_m, y_m, z_m = layout.seat_m + move_m * way / np.linalg.norm(way)
    stretches = []
    for at, place in enumerate((layout, replace(layout, seat_m=(x_m, y_m, z_m)))):
        row = responses(
            place,
            pair,
            sample_rate_hz=RATE_HZ,
            duration_s=0.3,
            max_order=8,
            simulator="rir_generator",
        )[0]
        circular = np.zeros(N)
        lead = round((LEAD_S - 0.006) * RATE_HZ)
        circular[lead : lead + row.size] = row / np.abs(row).max()
        stretches.append(timing(circular, 3e-4, 2 * seed + at))
    return fit(*stretches)


@pytest.mark.parametrize("seed", [21, 22, 23])
@pytest.mark.parametrize("move_m", [1e-3, 3e-3, 10e-3])
def test_size_of_a_move_comes_out(seed: int, move_m: float) -> None:
    """Known input: to the factor of two that the field allows."""
    assert move_m / 2 < moved_distance_m(room_ratio(seed, move_m)) < 2 * move_m


def test_noise_hides_small_moves_and_says_how_small() -> None:
    """Known input: what noise would hide is larger behind more noise."""
    room = decaying(8)
    hidden = [
        hidden_distance_m(fit(timing(room, rms, 1), timing(room, rms, 2)))
        for rms in (1e-4, 1e-3, 1e-2)
    ]
    assert hidden[0] < hidden[1] < hidden[2]
    assert hidden[1] == pytest.approx(10 * hidden[0], rel=0.4)
