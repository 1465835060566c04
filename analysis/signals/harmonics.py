r"""Second and third harmonic of a loudspeaker against frequency, from the same sweep.

Conventions: levels in dB relative to the linear response; a harmonic is given at the
frequency that excites it, so the k-th is read from the spectrum at k times that.

A tone's k-th harmonic is heard when the sweep passes the tone, and matches the sweep at k
times the frequency, which comes :math:`L \ln k` later: after deconvolution it stands that
long before the linear response. Each order gets the window between its neighbours,
:math:`L\ln\frac{k}{k-1}` long. The sweep's amplitude differs between :math:`f` and
:math:`kf` where it is tapered, and the harmonic belongs to the amplitude at :math:`f`: the
spectrum is multiplied by the ratio.

For a loudspeaker :math:`y = x + a_2 x^2 + a_3 x^3` driven at amplitude :math:`A` the
harmonics are :math:`|a_2| A / 2` and :math:`|a_3| A^2 / 4` of the linear part
:math:`1 + 3 a_3 A^2 / 4`.

References
----------
A. Farina, "Simultaneous measurement of impulse response and distortion with a swept-sine
technique", 108th AES Convention, preprint 5093, 2000.
A. Novak, P. Lotton, L. Simon, "Synchronized swept-sine: theory, application, and
implementation", J. Audio Eng. Soc. 63 (2015) 786-798.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from analysis.basics.arrays import Float, freeze
from analysis.basics.decibel import power_db
from analysis.signals.bands import Bands, band_mean_powers, octave_bands
from analysis.signals.noise_spectrum import welch_noise_density
from analysis.signals.sweep import Sweep, sweep_amplitude

ORDERS: Final = (2, 3)

LONGEST_S: Final = 0.2
"""What comes later than this after a harmonic's arrival is more noise than harmonic."""

BEFORE: Final = 0.25
"""Share of the distance to the next higher order that a window opens early: a harmonic of
an unsynchronised sweep is turned in phase, which spreads it to both sides."""

MOST_BEFORE_S: Final = 0.03

FADED_IN: Final = 2**0.5
FADED_OUT: Final = 2 ** (1 / 12)
"""Parts of the sweep left out at its ends, where it fades."""

NOISE_BLOCK: Final = 8192

BOUND_SIGMAS: Final = 3.0
"""A harmonic that stands out from the noise by less is given as an upper bound."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class HarmonicLevel:
    """One harmonic in third octaves of the frequency that excites it.

    Attributes
    ----------
    order : int
        2 or 3.
    frequency_hz : ndarray, shape (n,)
        Exact mid-band frequencies of the excitation, in Hz.
    level_db : ndarray, shape (n,)
        Harmonic over fundamental, both as the microphone hears them, in dB; where
        `is_bound`, a level that it doesn't exceed.
    source_level_db : ndarray, shape (n,)
        Harmonic over the linear response at the harmonic's own frequency, in dB: the
        distortion of a loudspeaker with the room and the response after it taken out,
        since both have passed the same path.
    is_bound : ndarray of bool, shape (n,)
        Where noise hides the harmonic.
    """

    order: int
    frequency_hz: Float
    level_db: Float
    source_level_db: Float
    is_bound: NDArray[np.bool_]

    def __post_init__(self) -> None:
        for name in ("frequency_hz", "level_db", "source_level_db"):
            object.__setattr__(self, name, freeze(getattr(self, name), name=name))
        is_bound = np.array(self.is_bound, dtype=np.bool_)
        is_bound.flags.writeable = False
        object.__setattr__(self, "is_bound", is_bound)


def harmonic_levels(
    samples: Float,
    *,
    sample_rate_hz: float,
    start_s: float,
    arrival_s: float,
    sweep: Sweep,
    noise: Float,
    clock_ratio: float = 1.0,
) -> tuple[HarmonicLevel, ...]:
    """Return the harmonics that the response's anticausal part holds.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Deconvolved response with what precedes the arrival.
    start_s : float
        Time of ``samples[0]``, in seconds.
    arrival_s : float
        Arrival of the linear response on the same axis, in seconds.
    sweep : Sweep
        What was played.
    noise : ndarray, shape (m,)
        Noise alone with the statistics of the noise in `samples`.
    clock_ratio : float
        Recorder seconds per player second.

    Returns
    -------
    tuple of HarmonicLevel
        The orders of which the samples hold the whole window, in rising order.

    Raises
    ------
    ValueError
        If the arrival lies outside the samples.

    Notes
    -----
    A third octave is given where all of it was swept at the excitation, fades left out, and
    its harmonic lies below the sweep's end. Above one third of the end there is no third
    harmonic to be had, above half no second.
    """
    end_s = start_s + samples.size / sample_rate_hz
    if not start_s <= arrival_s < end_s:
        msg = f"arrival_s {arrival_s} must lie inside the samples, {start_s} to {end_s} s"
        raise ValueError(msg)
    windows = _OrderWindows(
        samples=samples,
        noise=noise,
        rate_hz=sample_rate_hz,
        origin_s=arrival_s - start_s,
        growth_s=sweep.growth_s * clock_ratio,
    )
    linear = windows.spectrum(1)
    found = []
    for order in ORDERS:
        if windows.opens_s(order) >= 0:
            level = _harmonic_level(order, windows.spectrum(order), linear, sweep)
            if level is not None:
                found.append(level)
    return tuple(found)


def exclude_gaps(level: HarmonicLevel, gaps_hz: tuple[tuple[float, float], ...]) -> HarmonicLevel:
    """Leave out the bands for which the recording holds no clean data.

    Parameters
    ----------
    gaps_hz : tuple of (float, float)

    Returns
    -------
    HarmonicLevel
        Without the bands whose fundamental or harmonic lies in a gap, or a third of an octave
        beside one.
    """
    third = 10**0.1
    clean = np.ones(level.frequency_hz.size, dtype=np.bool_)
    for low_hz, high_hz in gaps_hz:
        for heard_hz in (level.frequency_hz, level.order * level.frequency_hz):
            clean &= (heard_hz < low_hz / third) | (heard_hz > high_hz * third)
    return replace(
        level,
        frequency_hz=level.frequency_hz[clean],
        level_db=level.level_db[clean],
        source_level_db=level.source_level_db[clean],
        is_bound=level.is_bound[clean],
    )


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _Spectrum:
    """Power of a windowed stretch and of the noise expected in it."""

    frequency_hz: Float
    power: Float
    noise: Float
    resolution_hz: float


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _OrderWindows:
    """The window of each harmonic's order in a response."""

    samples: Float
    noise: Float
    rate_hz: float
    origin_s: float
    growth_s: float

    def lead_s(self, order: int) -> float:
        """Return how long before the linear response an order stands, in seconds."""
        return self.growth_s * math.log(order)

    def before_s(self, order: int) -> float:
        """Return how long before an order its window opens, in seconds."""
        gap_s = self.lead_s(order + 1) - self.lead_s(order)
        return min(BEFORE * gap_s, MOST_BEFORE_S)

    def opens_s(self, order: int) -> float:
        """Return when an order's window opens, in seconds from the first sample."""
        return self.origin_s - self.lead_s(order) - self.before_s(order)

    def closes_s(self, order: int) -> float:
        """Return when an order's window is shut: before the next lower order's opens."""
        longest_s = self.origin_s - self.lead_s(order) + LONGEST_S
        return longest_s if order == 1 else min(longest_s, self.opens_s(order - 1))

    def spectrum(self, order: int) -> _Spectrum:
        """Return the spectrum of an order's window."""
        before_s = self.before_s(order)
        first = max(math.ceil(self.opens_s(order) * self.rate_hz), 0)
        last = min(math.floor(self.closes_s(order) * self.rate_hz), self.samples.size)
        time_s = np.arange(first, last) / self.rate_hz
        length_s = self.closes_s(order) - self.opens_s(order)
        rise = np.clip((time_s - self.opens_s(order)) / (0.8 * before_s), 0, 1)
        fall = np.clip((self.closes_s(order) - time_s) / (0.25 * length_s), 0, 1)
        window = np.sin(0.5 * np.pi * rise) ** 2 * np.sin(0.5 * np.pi * fall) ** 2
        n_fft = fft.next_fast_len(2 * window.size, real=True)
        spectrum = fft.rfft(self.samples[first:last] * window, n_fft)
        frequency_hz = fft.rfftfreq(n_fft, 1 / self.rate_hz)
        return _Spectrum(
            frequency_hz=frequency_hz,
            power=spectrum.real**2 + spectrum.imag**2,
            noise=np.sum(window**2)
            * welch_noise_density(
                self.noise, frequency_hz, sample_rate_hz=self.rate_hz, block=NOISE_BLOCK
            ),
            resolution_hz=float(self.rate_hz * np.sum(window**4) / np.sum(window**2) ** 2),
        )


def _harmonic_level(
    order: int, harmonic: _Spectrum, linear: _Spectrum, sweep: Sweep
) -> HarmonicLevel | None:
    """Return one order's level in the third octaves that sweep and noise allow."""
    lowest_hz = sweep.start_hz * FADED_IN
    highest_hz = sweep.stop_hz / FADED_OUT / order
    if lowest_hz >= highest_hz:
        return None
    bands = octave_bands(lowest_hz, highest_hz, whole=True)
    if bands.centre_hz.size == 0:
        return None
    produced = _multiply_bands(bands, order)
    tapering = _taper_ratio(sweep, harmonic.frequency_hz, order)
    power = band_mean_powers(harmonic.frequency_hz, tapering * harmonic.power, produced)
    noise = band_mean_powers(harmonic.frequency_hz, tapering * harmonic.noise, produced)
    n_values = np.maximum((produced.upper_hz - produced.lower_hz) / harmonic.resolution_hz, 1)
    uncertain = BOUND_SIGMAS * noise / np.sqrt(n_values)
    clean = np.maximum(power - noise, 0)
    is_bound = clean <= uncertain
    heard = np.where(is_bound, clean + uncertain, clean)
    fundamental, beside = _linear_power(linear, bands), _linear_power(linear, produced)
    known = (fundamental > 0) & (beside > 0) & (heard > 0)
    return HarmonicLevel(
        order=order,
        frequency_hz=bands.centre_hz[known],
        level_db=power_db(heard[known] / fundamental[known]),
        source_level_db=power_db(heard[known] / beside[known]),
        is_bound=is_bound[known],
    )


def _linear_power(linear: _Spectrum, bands: Bands) -> Float:
    """Return the linear response's power in bands, 0 where noise is as strong."""
    power = band_mean_powers(linear.frequency_hz, linear.power, bands)
    noise = band_mean_powers(linear.frequency_hz, linear.noise, bands)
    return np.where(power > 2 * noise, power - noise, 0.0)


def _multiply_bands(bands: Bands, order: int) -> Bands:
    """Return the bands in which the harmonics of a band's tones lie."""
    return Bands(
        centre_hz=order * bands.centre_hz,
        lower_hz=order * bands.lower_hz,
        upper_hz=order * bands.upper_hz,
        bands_per_octave=bands.bands_per_octave,
    )


def _taper_ratio(sweep: Sweep, frequency_hz: Float, order: int) -> Float:
    """Return the sweep's power at a frequency over that at the tone it is a harmonic of."""
    inside = (frequency_hz > order * sweep.start_hz) & (frequency_hz < sweep.stop_hz)
    ratio = np.zeros(frequency_hz.size)
    harmonic = sweep_amplitude(sweep, sweep.time_at(frequency_hz[inside]))
    exciting = sweep_amplitude(sweep, sweep.time_at(frequency_hz[inside] / order))
    ratio[inside] = (harmonic / np.maximum(exciting, 1e-6 * np.max(exciting))) ** 2
    return ratio
