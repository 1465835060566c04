"""The step of the delay that a lost or repeated block leaves between two passes of one side.

Conventions: positions are sample indices of the recording; a positive count was lost
(the rest came too early), a negative one was repeated.

Inside a pass a lost block shows as a step: the frequencies swept after it arrive
earlier against the same loudspeaker's other pass, those before it don't. The step's
size is a whole number of samples, so the time line can be repaired exactly; where it lies
is the sample at which following the other pass with the one delay stops being better
than with the other.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import scipy.fft as fft

from analysis.basics.arrays import Float
from analysis.signals.delay import Delay, estimate_delay

BAND_OCTAVES = 0.5
LEAST_GAIN = 0.05
"""Two delays must leave less of a pass unexplained than one, by this share: chance alone
gains about a hundredth."""

LOWEST_HZ = 30.0
"""Few loudspeakers play much lower."""

MIN_COHERENCE = 0.5
"""A band whose two responses share less than this gives no delay."""

LEAST_CYCLES = 0.003
"""Least sigma of a delay in periods of the highest frequency that shows it."""

PERIODS = 4.0
"""Of the lowest frequency, that the stretch for measuring a delay must hold."""

WHOLE_SAMPLES = 0.25
"""With a sigma below this many samples the bands' delays give whole samples; else they are
measured again over all bands of a side at once."""

STEP_SIGMA = 6.0
"""A step counts from six sigma: there are some twenty bands and a few pairs a reading."""

BETWEEN_COST = 9.0
"""Chi squared for leaving out the band in which a step lies, three sigma of its own."""


@dataclass(frozen=True, kw_only=True, slots=True)
class DelayStep:
    """A step of the delay between two passes over frequency.

    Attributes
    ----------
    frequency_hz : float
        Where the later part begins, to a band.
    low_s, high_s : float
        Delay of the first pass against the second below and above, in seconds.
    low_std_s, high_std_s : float
        One sigma of each.
    """

    frequency_hz: float
    low_s: float
    high_s: float
    low_std_s: float
    high_std_s: float


def find_delay_step(
    first: Float, second: Float, *, sample_rate_hz: float, band_hz: tuple[float, float]
) -> DelayStep | None:
    """Look for a step in the delay between two passes of one loudspeaker.

    Parameters
    ----------
    first, second : ndarray, shape (n,)
        The same stretch of both responses, wide enough to hold both parts.
    band_hz : tuple of float
        Lowest and highest frequency that both hold.
    """
    centre_hz, delay_s, sigma_s = _measure_band_delays(first, second, sample_rate_hz, band_hz)
    if centre_hz.size < 4:
        return None
    split = _fit_split(delay_s, 1 / sigma_s**2)
    moved_s = abs(split.high - split.low)
    if moved_s < max(STEP_SIGMA * split.sigma, 0.7 / sample_rate_hz):
        return None
    # Scatter that a step doesn't explain is noise, not a step.
    if split.cost > 0.25 * split.flat_cost:
        return None
    between_hz = (float(centre_hz[split.below - 1]), float(centre_hz[split.above]))
    refined = _remeasure_delays(first, second, between_hz, sample_rate_hz, band_hz)
    # A band beside the step may hold some of both delays.
    sides = (slice(0, max(split.below - 1, 1)), slice(min(split.above + 1, delay_s.size - 1), None))
    delays = []
    for side, again in zip(sides, refined, strict=True):
        std_s = float((sigma_s[side] ** -2).sum() ** -0.5)
        if std_s < WHOLE_SAMPLES / sample_rate_hz or not np.isfinite(again.std_s):
            delays.append((float(np.average(delay_s[side], weights=sigma_s[side] ** -2)), std_s))
        else:
            delays.append((again.delay_s, again.std_s))
    (low, low_std), (high, high_std) = delays
    return DelayStep(
        frequency_hz=between_hz[1],
        low_s=low,
        high_s=high,
        low_std_s=low_std,
        high_std_s=high_std,
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class _Split:
    """Bands up to `below` at one delay, from `above` on at another, and how well that fits."""

    below: int
    above: int
    low: float
    high: float
    sigma: float
    cost: float
    flat_cost: float


def _fit_split(delay_s: Float, weight: Float) -> _Split:
    """Fit two delays, with or without a band between that holds some of both."""
    flat = float(np.average(delay_s, weights=weight))
    flat_cost = float((weight * (delay_s - flat) ** 2).sum())
    options = []
    for below in range(1, delay_s.size):
        for above in range(below, min(below + 2, delay_s.size)):
            parts = (slice(0, below), slice(above, None))
            low, high = (float(np.average(delay_s[part], weights=weight[part])) for part in parts)
            rests = (delay_s[parts[0]] - low, delay_s[parts[1]] - high)
            cost = sum(
                float((weight[part] * rest**2).sum())
                for part, rest in zip(parts, rests, strict=True)
            )
            sums = [float(weight[part].sum()) for part in parts]
            split = _Split(
                below=below,
                above=above,
                low=low,
                high=high,
                sigma=float(np.hypot(sums[0] ** -0.5, sums[1] ** -0.5)),
                cost=cost + (above - below) * BETWEEN_COST,
                flat_cost=flat_cost,
            )
            options.append(split)
    return min(options, key=lambda one: one.cost)


def _remeasure_delays(
    first: Float,
    second: Float,
    between_hz: tuple[float, float],
    sample_rate_hz: float,
    band_hz: tuple[float, float],
) -> list[Delay]:
    """Measure both delays again over all that lies well below and well above the step."""
    n_fft = fft.next_fast_len(first.size, real=True)
    spectra = fft.rfft(np.stack((first, second)), n_fft)
    octave = np.log2(np.maximum(fft.rfftfreq(n_fft, 1 / sample_rate_hz), 1.0))
    n_before = round(0.01 * sample_rate_hz)
    delays = []
    # The bands next to the step hold some of both delays.
    below = (band_hz[0], between_hz[0] * 2 ** (-BAND_OCTAVES / 2))
    above = (between_hz[1] * 2 ** (BAND_OCTAVES / 2), band_hz[1])
    for low_hz, high_hz in (below, above):
        margin = min(BAND_OCTAVES / 2, np.log2(high_hz / low_hz) / 5)
        if margin < BAND_OCTAVES / 10:
            delays.append(Delay(delay_s=0.0, std_s=np.inf, coherence=0.0))
            continue
        rise = np.clip((octave - np.log2(low_hz) - margin) / margin, 0, 1)
        fall = np.clip((np.log2(high_hz) - margin - octave) / margin, 0, 1)
        stretches = fft.irfft(spectra * rise * fall, n_fft)
        # Little more than the direct sound: later sound near the step was heard after it.
        n_window = round(max(0.03, min(PERIODS / low_hz, 0.2)) * sample_rate_hz)
        begins = [int(np.argmax(np.abs(row))) - n_before for row in stretches]
        direct = [
            np.take(row, np.arange(begin, begin + n_window), mode="wrap")
            for row, begin in zip(stretches, begins, strict=True)
        ]
        delay = estimate_delay(*direct, sample_rate_hz=sample_rate_hz)
        moved_s = (begins[0] - begins[1]) / sample_rate_hz
        # A room's lowest modes outlast the stretch: noise isn't all that is wrong down there.
        std_s = max(delay.std_s, LEAST_CYCLES / high_hz)
        delays.append(replace(delay, delay_s=delay.delay_s + moved_s, std_s=std_s))
    return delays


def _measure_band_delays(
    first: Float, second: Float, sample_rate_hz: float, band_hz: tuple[float, float]
) -> tuple[Float, Float, Float]:
    """Return centre, delay and sigma of the half octaves in which both agree."""
    n_fft = fft.next_fast_len(first.size + second.size, real=True)
    spectra = fft.rfft(np.stack((first, second)), n_fft)
    bin_hz = sample_rate_hz / n_fft
    low_hz, high_hz = max(LOWEST_HZ, 1.3 * band_hz[0]), min(band_hz[1] / 1.1, 0.45 * sample_rate_hz)
    n_bands = int(np.log2(max(high_hz / low_hz, 1.0)) / BAND_OCTAVES)
    rows = []
    for index in range(n_bands):
        # Counted from the highest: above the last band no block is seen.
        edges_hz = high_hz * 2 ** (BAND_OCTAVES * (np.array([index, index + 1]) - n_bands))
        begin, end = (int(edge_hz / bin_hz) for edge_hz in edges_hz)
        pair = spectra[:, begin:end] * np.sin(np.linspace(0, np.pi, end - begin))
        energy = np.sqrt((np.abs(pair) ** 2).sum(axis=1).prod())
        n_out = fft.next_fast_len(max(4 * (end - begin), 64))
        correlation = np.abs(fft.ifft(pair[0] * np.conj(pair[1]), n_out)) * n_out
        at = int(np.argmax(correlation))
        coherence = float(correlation[at] / (energy + 1e-300))
        if coherence < MIN_COHERENCE:
            continue
        lag = _interpolate_peak(correlation, at)
        lag -= n_out if lag > n_out / 2 else 0
        width_hz = edges_hz[1] - edges_hz[0]
        sigma_s = 0.3 / width_hz * (np.sqrt(max(1 - coherence, 0) / coherence) + 0.003)
        rows.append((float(np.sqrt(edges_hz.prod())), lag / (n_out * bin_hz), sigma_s))
    columns = np.array(rows).reshape(-1, 3).T
    return columns[0], columns[1], columns[2]


def _interpolate_peak(values: Float, at: int) -> float:
    """Return the interpolated place of a circular array's peak."""
    left, middle, right = values[at - 1], values[at], values[(at + 1) % values.size]
    bend = left - 2 * middle + right
    return at + (0.5 * float((left - right) / bend) if bend < 0 else 0.0)


def locate_step(
    faulty: Float, other: Float, *, low_s: float, high_s: float, sample_rate_hz: float
) -> int | None:
    """Return the sample at which a pass stops following another with the first delay.

    Parameters
    ----------
    faulty, other : ndarray, shape (n,)
        Cuts of the recording around both passes.
    low_s, high_s : float
        Delay of `faulty` against `other` before and after, in seconds.

    Returns
    -------
    int or None
        Index in `faulty`; None if one delay alone does nearly as well.
    """
    n_fft = fft.next_fast_len(other.size, real=True)
    spectrum = fft.rfft(other, n_fft)
    omega = 2 * np.pi * fft.rfftfreq(n_fft, 1 / sample_rate_hz)
    costs = []
    for delay_s in (low_s, high_s):
        moved = fft.irfft(spectrum * np.exp(-1j * omega * delay_s), n_fft)[: other.size]
        costs.append((faulty - moved) ** 2)
    gained = np.concatenate(([0.0], np.cumsum(costs[0] - costs[1])))
    at = int(np.argmin(gained))
    split = float(gained[at] + costs[1].sum())
    alone = min(float(costs[0].sum()), float(costs[1].sum()))
    return at if alone > (1 + LEAST_GAIN) * split else None
