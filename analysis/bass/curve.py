r"""The bass curve: what reaches the seat at each frequency from 15 to 300 Hz.

Conventions: level is ``20 log10`` of recorded over played, unsmoothed unless the name
says so; bins lie ``SPACING_HZ`` apart or closer; ``_std_`` is one sigma. Both
loudspeakers together are the complex sum of left and right on their common axis.

The response is seen through one window: flat from 0.1 s before the first sound,
falling over its last quarter as half a Hann window, whose middle stands where the
slowest octave has decayed into the noise: what comes later adds noise and no room. It is
never shorter than ``SHORTEST_WINDOW_S`` after the first sound. The resolution is the
half-power width of the window's transform: two modes closer than that merge. Zeros
are appended for the spacing of the bins, which adds no resolution.

Noise of expected squared magnitude :math:`\sigma^2` on a response :math:`Y` moves its
level by

.. math:: s_L = \frac{20}{\ln 10} \frac{\sigma}{\sqrt 2\,|Y|},

at most 5.57 dB, which is the spread of the level of noise alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Final

import numpy as np
from scipy import fft
from scipy.special import gammaincinv

from analysis.basics.arrays import Complex, Float, freeze
from analysis.basics.decibel import amplitude_db, power_db
from analysis.signals.bands import smooth
from analysis.signals.impulse_response import ImpulseResponse
from analysis.signals.resampling import LowBand, low_band

LOW_HZ: Final = 15.0
HIGH_HZ: Final = 300.0
"""The range of the bass curve; above it a small room's modes overlap beyond telling."""

SPACING_HZ: Final = 0.25
"""Largest distance of the bins."""

SHORTEST_WINDOW_S: Final = 0.5
"""At least so long from the first sound on, whatever the noise: it resolves about
2 Hz, the half-power width 2.2/T of a mode that decays by 60 dB in 1 s."""

LEAD_S: Final = 0.1
"""Kept before the first sound: what the ends of the swept band ring ahead of it."""

FADE_SHARE: Final = 0.25
"""The last part of the window, as a share of it, that falls as half a Hann window."""

NOISE_LEVEL_STD_DB: Final = 5.57
"""Standard deviation of ``20 log10`` of the magnitude of complex Gaussian noise:
10/ln 10 times pi/sqrt 6."""

_OCTAVE_CENTRES_HZ: Final = (21.0, 42.0, 85.0, 170.0)
_OCTAVE_SPREAD: Final = 0.35
"""Bell-shaped bands over the logarithm of frequency, one sigma in octaves: a band with
steep edges would ring longer than the room."""

_BLOCK_S: Final = 0.15
_BLOCK_CHANCE: Final = 1e-4
"""Blocks in which each octave is compared with its noise, and the chance that noise
alone passes for decay in one of them."""

_WIDTH_STEP: Final = 16
"""So many samples of a window are lumped when its width is sought: far below a period
of the few Hz that matter."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class BassCurve:
    """Transfer function from player to seat over the bass, with what noise does to it.

    Attributes
    ----------
    frequency_hz : ndarray, shape (n,)
        Evenly spaced, in Hz, inside 15 to 300 Hz and inside the swept band.
    response : ndarray of complex, shape (n,)
        Recorded over played, phase against the common time axis.
    level_db : ndarray, shape (n,)
        Its level without smoothing, in dB.
    sixth_octave_db, third_octave_db : ndarray, shape (n,)
        The level smoothed in power over 1/6 and 1/3 octave, for the eye, in dB.
    local_mean_db : ndarray, shape (n,)
        The level smoothed over one octave, in dB; near the ends over as much as
        there is on both sides.
    noise_level_db : ndarray, shape (n,)
        Expected level of the noise in `level_db`, in dB.
    level_std_db : ndarray, shape (n,)
        One sigma of `level_db` from noise, in dB.
    slope_std_db_per_hz : ndarray, shape (n,)
        One sigma of the slope of `level_db` from noise.
    covered : ndarray of bool, shape (n,)
        False where no clean data was left: the other fields mean nothing there.
    resolution_hz : float
        Half-power width of the window's transform, in Hz.
    window_s : tuple of float
        First and last moment of the window on the common axis, in seconds.
    low_band : LowBand
        The response from which the curve was made.
    """

    frequency_hz: Float
    response: Complex
    level_db: Float
    sixth_octave_db: Float
    third_octave_db: Float
    local_mean_db: Float
    noise_level_db: Float
    level_std_db: Float
    slope_std_db_per_hz: Float
    covered: np.ndarray[tuple[int], np.dtype[np.bool_]]
    resolution_hz: float
    window_s: tuple[float, float]
    low_band: LowBand

    def __post_init__(self) -> None:
        for entry in fields(self):
            value = getattr(self, entry.name)
            if isinstance(value, np.ndarray) and value.dtype == np.float64:
                object.__setattr__(self, entry.name, freeze(value, name=entry.name))
        for name in ("response", "covered"):
            value = np.array(getattr(self, name))
            value.flags.writeable = False
            object.__setattr__(self, name, value)

    @property
    def spacing_hz(self) -> float:
        """Distance of the bins, in Hz."""
        return float(self.frequency_hz[1] - self.frequency_hz[0])

    @property
    def band_hz(self) -> tuple[float, float]:
        """Lowest and highest frequency, in Hz: within 15 to 300 Hz, what the sweep covered."""
        return float(self.frequency_hz[0]), float(self.frequency_hz[-1])


def bass_curve(*responses: ImpulseResponse) -> BassCurve:
    """Return the bass curve of one loudspeaker, or of several that sound at once.

    Parameters
    ----------
    *responses : ImpulseResponse
        One loudspeaker, or left and right for both together.

    Raises
    ------
    ValueError
        If there is none, the sampling frequencies differ, or fewer than 2 Hz between
        15 and 300 Hz were swept.
    """
    low = low_band(*responses)
    window, window_s = bass_window(low)
    frequency_hz, first = _frequency_bins(low)
    bins = slice(first, first + frequency_hz.size)
    windowed = window * low.samples
    delay = low.time_s - low.onset_s
    spectrum = fft.rfft(windowed, low.n_fft)[bins]
    delayed = fft.rfft(windowed * delay, low.n_fft)[bins]
    density = low.noise_density(frequency_hz, window=window)
    level_std, slope_std = _noise_stds(spectrum, delayed, density, window=window, delay=delay)
    level_db = amplitude_db(spectrum)
    return BassCurve(
        frequency_hz=frequency_hz,
        response=spectrum * np.exp(-2j * np.pi * frequency_hz * low.start_s),
        level_db=level_db,
        sixth_octave_db=smooth(frequency_hz, level_db, 1 / 6),
        third_octave_db=smooth(frequency_hz, level_db, 1 / 3),
        local_mean_db=smooth(frequency_hz, level_db, 1.0),
        noise_level_db=power_db(density * np.sum(window**2)),
        level_std_db=level_std,
        slope_std_db_per_hz=slope_std,
        covered=_covered_bins(frequency_hz, low.gaps_hz),
        resolution_hz=half_power_width_hz(window, low.sample_rate_hz),
        window_s=window_s,
        low_band=low,
    )


def bass_window(low: LowBand) -> tuple[Float, tuple[float, float]]:
    """Return the window through which the bass is seen, and when it starts and ends.

    Returns
    -------
    window : ndarray, shape (n,)
        One weight a sample of the low band.
    window_s : tuple of float
        First and last moment, in seconds on the common axis.
    """
    decay_s = (decay_end_s(low) - low.onset_s) / (1 - FADE_SHARE / 2)
    end_s = min(low.onset_s + max(decay_s, SHORTEST_WINDOW_S), low.data_s[1])
    begin_s = max(low.onset_s - LEAD_S, low.start_s)
    fade_s = FADE_SHARE * (end_s - low.onset_s)
    share = np.clip((low.time_s - (end_s - fade_s)) / fade_s, 0, 1)
    window = np.where(low.time_s >= begin_s, 0.5 + 0.5 * np.cos(np.pi * share), 0.0)
    return window, (begin_s, end_s)


def decay_end_s(low: LowBand) -> float:
    """Return when the slowest octave of the bass has decayed into the noise.

    Returns
    -------
    float
        Seconds on the common axis; the end of the data if no octave gets so far.
    """
    n_block = round(_BLOCK_S * low.sample_rate_hz)
    first = round((low.onset_s - low.start_s) * low.sample_rate_hz)
    n_blocks = (low.samples.size - first) // n_block
    spectrum = fft.rfft(low.samples)
    frequency_hz = fft.rfftfreq(low.samples.size, 1 / low.sample_rate_hz)
    density = low.noise_density(frequency_hz, window=np.ones(n_block))
    last = 0
    octaves = np.log2(np.maximum(frequency_hz, 1e-3))
    for centre_hz in _OCTAVE_CENTRES_HZ:
        mask = np.exp(-0.5 * ((octaves - math.log2(centre_hz)) / _OCTAVE_SPREAD) ** 2)
        band = fft.irfft(mask * spectrum, low.samples.size)
        share = mask**2
        noise_energy = float(np.sum(density * share)) * 2 * n_block / low.samples.size
        band_hz = float(np.sum(share)) ** 2 / float(np.sum(share**2)) * frequency_hz[1]
        freedom = max(1.0, band_hz * _BLOCK_S)
        limit = noise_energy * float(gammaincinv(freedom, 1 - _BLOCK_CHANCE)) / freedom
        blocks = band[first : first + n_blocks * n_block].reshape(n_blocks, n_block)
        above = np.flatnonzero(np.sum(blocks**2, axis=1) > limit)
        last = max(last, int(above[-1]) + 1 if above.size else 0)
    return min(low.onset_s + last * _BLOCK_S, low.data_s[1])


def half_power_width_hz(window: Float, sample_rate_hz: float) -> float:
    """Return the full width at half power of a window's transform, in Hz.

    Parameters
    ----------
    window : ndarray, shape (n,)

    Returns
    -------
    float
        0.886 / T for a rectangle of length T.

    Examples
    --------
    A rectangle of 1 s:

    >>> round(half_power_width_hz(np.ones(48_000), 48_000.0), 3)
    0.886
    """
    length_s = float(np.count_nonzero(window)) / sample_rate_hz
    trial_hz = np.linspace(0, 2 / length_s, 101)
    coarse = window[: window.size // _WIDTH_STEP * _WIDTH_STEP].reshape(-1, _WIDTH_STEP).sum(axis=1)
    time_s = np.arange(coarse.size) * _WIDTH_STEP / sample_rate_hz
    power = np.abs(np.exp(-2j * np.pi * trial_hz[:, None] * time_s) @ coarse) ** 2
    half = 0.5 * power[0]
    index = int(np.argmax(power <= half))
    share = (power[index - 1] - half) / (power[index - 1] - power[index])
    return 2 * float(trial_hz[index - 1] + share * trial_hz[1])


def _frequency_bins(low: LowBand) -> tuple[Float, int]:
    """Return the frequencies of the curve and the index of the first in the transform."""
    spacing_hz = low.sample_rate_hz / low.n_fft
    slack = 1e-6
    first = math.ceil(max(LOW_HZ, low.band_hz[0]) / spacing_hz - slack)
    last = math.floor(min(HIGH_HZ, low.band_hz[1]) / spacing_hz + slack)
    if (last - first) * spacing_hz < 2:
        msg = f"the sweep's band {low.band_hz} Hz must cover part of {LOW_HZ:g} to {HIGH_HZ:g} Hz"
        raise ValueError(msg)
    return np.asarray(np.arange(first, last + 1) * spacing_hz), first


def _noise_stds(
    spectrum: Complex, delayed: Complex, density: Float, *, window: Float, delay: Float
) -> tuple[Float, Float]:
    r"""Return one sigma of the level in dB and of its slope in dB/Hz.

    Where the level is flat, noise changes the slope of log |Y| by the real part of
    (N' - N Y'/Y)/Y, N' and Y' being derivatives over frequency: transforms of the
    samples times their time. With Y'/Y = -2 pi i tau that is noise seen through the
    window times (t - tau).
    """
    magnitude = np.maximum(np.abs(spectrum), 1e-300)
    tau = np.real(delayed / np.where(magnitude > 1e-300, spectrum, 1e-300))
    moments = [float(np.sum(window**2 * delay**k)) for k in range(3)]
    spread = np.maximum(moments[2] - 2 * tau * moments[1] + tau**2 * moments[0], 0)
    scale = 20 / math.log(10) / math.sqrt(2)
    level_std = np.minimum(scale * np.sqrt(density * moments[0]) / magnitude, NOISE_LEVEL_STD_DB)
    slope_std = scale * 2 * np.pi * np.sqrt(density * spread) / magnitude
    return level_std, slope_std


def _covered_bins(
    frequency_hz: Float, gaps_hz: tuple[tuple[float, float], ...]
) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Return where the curve rests on clean data."""
    covered = np.ones(frequency_hz.size, dtype=np.bool_)
    for low_hz, high_hz in gaps_hz:
        covered &= (frequency_hz < low_hz) | (frequency_hz > high_hz)
    return covered
