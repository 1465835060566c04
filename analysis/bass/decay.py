r"""How long the narrow band at each bass peak rings.

Conventions: a decay time is the time for 60 dB, 6.91 over the decay constant in
nepers a second; ``_std_`` is one sigma; times on the reading's common axis.

The band at a peak is cut with a bell-shaped (Gaussian) filter of zero phase and
spread :math:`\sigma_f`. Its own response is a Gaussian too, of spread
:math:`\sigma_t = 1/(2\pi\sigma_f)`, which falls faster than any exponential. So from
``START_SIGMAS`` of it after the first sound on, a decaying mode is an exponential and
nothing else, whatever the filter, and one to ``N_MODES`` damped modes are fitted to the
complex band down to the noise. The fewest that leave no more than the noise are taken.
The filter is made as wide as the distance to the neighbouring peaks allows, because it
sets the shortest time that can be told, ``SHORTEST_SIGMAS`` times :math:`\sigma_t`.

Where no such fit explains the band, where modes too close to part make the decay
uncertain by more than ``LARGEST_STD_SHARE``, or where it is as short as the filter's
own, there is no number but a reason.

References
----------
M. Karjalainen et al., "Estimation of modal decay parameters from noisy response
measurements", J. Audio Eng. Soc. 50 (2002) 867-878 (from memory).
H. Kuttruff, Room Acoustics, 5th ed., sec. 3.1: the half-power width of a mode is 2.2
over its decay time (second-hand).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
from scipy import fft

from analysis.basics.arrays import Complex, Float
from analysis.basics.local_maxima import find_local_maxima
from analysis.bass.curve import BassCurve
from analysis.bass.damped_modes import DampedModes, exponent_std, pencil_modes, refine_modes
from analysis.bass.features import Feature

Reason = Literal["too weak", "too short", "not one mode", "too uncertain"]

DECAY_60_DB: Final = 3 * math.log(10)
"""Decay of 60 dB in nepers: 6.908."""

START_SIGMAS: Final = 3.0
"""From here the filter's own response is below 1.2 % of its top."""

SHORTEST_SIGMAS: Final = 4.6
"""Shortest decay time told, in spreads of the filter's response: the mode has then
lost 4.5 nepers (39 dB) when the fit begins, as much as the filter's response itself."""

REACH_SIGMAS: Final = 4.0
"""The filter is cut off here, at -70 dB."""

FEWEST_SAMPLES: Final = 24
"""Samples of the band between the filter's ends; more than needed adds none that differ."""

NEIGHBOUR_DB: Final = 1.0
"""Peaks of the curve of this prominence count as neighbours."""

NEIGHBOUR_SIGMAS: Final = 1.5
"""Spreads of the filter between a peak and its nearest neighbour. The fit of several
modes takes care of what comes through from there (-10 dB)."""

SPREADS_HZ: Final = (1.5, 8.0)
"""Narrowest and widest filter."""

SPREAD_SHARE: Final = 0.12
"""Widest filter as a share of the frequency: nothing of 0 Hz comes through."""

N_MODES: Final = 4
"""At most so many modes in one band."""

EXPLAINED_DB: Final = -35.0
"""A fit also serves if it leaves so little of the band, though that exceeds the noise:
a real band holds traces of more modes than can be told."""

DENSITY_STD_SHARE: Final = 0.2
"""One sigma of the noise density from a stretch of 1.5 s, as a share: measured."""

ROUGH_SLACK: Final = 4.0
"""The pencil's poles may leave so many times that power and are still refined."""

LARGEST_STD_SHARE: Final = 0.4
"""Largest one sigma of a decay time that is given, as a share of it."""

MODEL_STD_SHARE: Final = 0.01
"""One sigma added for what the fit doesn't model, as a share: measured."""


HIDDEN_SHARE: Final = 0.7
"""One sigma added for modes that hide in what the fit leaves, as a share of the decay
and of the amplitude left: measured on pairs of close modes."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Decay:
    """The decay of the narrow band at one frequency.

    Attributes
    ----------
    decay_s, decay_std_s : float or None
        Time for 60 dB and one sigma of it, in seconds.
    frequency_hz, frequency_std_hz : float or None
        Frequency of the mode that rings, in Hz; where modes overlap, not that of the peak.
    n_modes : int
        How many modes were needed to explain the band, 0 if no fit did.
    shortest_s : float
        Shortest decay time that this band could have told, in seconds.
    reason : str or None
        Why there is no decay time: ``"too weak"`` (not enough of the decay above the
        noise), ``"too short"`` (not longer than the filter's own, `shortest_s`),
        ``"not one mode"`` (no fit explains the band), ``"too uncertain"``.
    """

    decay_s: float | None = None
    decay_std_s: float | None = None
    frequency_hz: float | None = None
    frequency_std_hz: float | None = None
    n_modes: int = 0
    shortest_s: float
    reason: Reason | None = None


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _NarrowBand:
    """A narrow band from where its filter has settled to where the noise begins."""

    samples: Complex
    step_s: float
    centre_hz: float
    spread_hz: float
    noise_power: float

    @property
    def ring_s(self) -> float:
        """Spread of the filter's own response, in seconds."""
        return 1 / (2 * np.pi * self.spread_hz)

    @property
    def noise_covariance(self) -> Float:
        """Covariance of the noise, shape (n, n): the filter's response with itself."""
        lag_s = np.arange(self.samples.size) * self.step_s
        correlation = np.exp(-((lag_s / (2 * self.ring_s)) ** 2))
        index = np.arange(self.samples.size)
        return np.asarray(self.noise_power * correlation[np.abs(index[:, None] - index)])


def add_decays(features: Sequence[Feature], curve: BassCurve) -> tuple[Feature, ...]:
    """Return the features, each peak with its decay time where that can be told.

    Parameters
    ----------
    features : sequence of Feature
        Those of `curve`.
    """
    peaks = [feature.frequency_hz for feature in features if feature.kind == "peak"]
    decays = iter(band_decays(curve, peaks))
    return tuple(
        _add_decay(feature, next(decays)) if feature.kind == "peak" else feature
        for feature in features
    )


def _add_decay(feature: Feature, decay: Decay) -> Feature:
    """Return the feature with the decay time."""
    return replace(feature, decay_s=decay.decay_s, decay_std_s=decay.decay_std_s)


def band_decays(curve: BassCurve, frequencies_hz: Sequence[float]) -> tuple[Decay, ...]:
    """Return the decay of the narrow band at each of some frequencies.

    Parameters
    ----------
    frequencies_hz : sequence of float
        Peaks of the curve, in Hz.

    Returns
    -------
    tuple of Decay
        In the order of the frequencies.
    """
    low = curve.low_band
    spectrum = fft.rfft(low.samples, low.n_fft)
    maxima = find_local_maxima(curve.level_db, prominence=NEIGHBOUR_DB)
    maxima_hz = curve.frequency_hz[maxima.indices]
    return tuple(
        _decay_of_band(
            _narrow_band(curve, spectrum, at_hz, _spread_hz(at_hz, maxima_hz, curve.spacing_hz))
        )
        for at_hz in frequencies_hz
    )


def _spread_hz(at_hz: float, maxima_hz: Float, spacing_hz: float) -> float:
    """Return the filter's spread for a frequency and its neighbours."""
    distance_hz = np.abs(maxima_hz - at_hz)
    distance_hz = distance_hz[distance_hz > 2 * spacing_hz]
    nearest_hz = float(distance_hz.min()) if distance_hz.size else math.inf
    widest_hz = min(SPREADS_HZ[1], SPREAD_SHARE * at_hz)
    return min(max(nearest_hz / NEIGHBOUR_SIGMAS, SPREADS_HZ[0]), widest_hz)


def _narrow_band(
    curve: BassCurve, spectrum: Complex, centre_hz: float, spread_hz: float
) -> _NarrowBand:
    """Return the narrow band at a frequency."""
    low = curve.low_band
    bin_hz = low.sample_rate_hz / low.n_fft
    centre = round(centre_hz / bin_hz)
    reach = min(math.ceil(REACH_SIGMAS * spread_hz / bin_hz), centre)
    offset = np.arange(-reach, reach + 1)
    gain = np.exp(-0.5 * (offset * bin_hz / spread_hz) ** 2)
    ring_s = 1 / (2 * np.pi * spread_hz)
    span_s = low.data_s[1] - low.onset_s - 2 * START_SIGMAS * ring_s
    n_whole = fft.next_fast_len(max(offset.size, round(FEWEST_SAMPLES / max(span_s, 0.1) / bin_hz)))
    step_s = 1 / (n_whole * bin_hz)
    circular = np.zeros(n_whole, dtype=np.complex128)
    circular[offset] = gain * spectrum[centre + offset]
    baseband = fft.ifft(circular)
    first = math.ceil((low.onset_s + START_SIGMAS * ring_s - low.start_s) / step_s)
    last = math.floor((low.data_s[1] - START_SIGMAS * ring_s - low.start_s) / step_s)
    density = low.noise_density(np.array([centre * bin_hz]), window=np.ones(low.samples.size))
    # Parseval: bins hold the density times n_fft of unit-energy samples.
    noise_power = float(density[0]) * low.n_fft * float(np.sum(gain**2)) / n_whole**2
    samples = baseband[first : max(first, last)]
    above = np.flatnonzero(np.abs(samples) ** 2 > 2 * noise_power)
    return _NarrowBand(
        samples=samples[: int(above[-1]) + 1 if above.size else 0],
        step_s=step_s,
        centre_hz=centre * bin_hz,
        spread_hz=spread_hz,
        noise_power=noise_power,
    )


def _decay_of_band(band: _NarrowBand) -> Decay:
    """Return the decay of a band from the fewest modes that explain it."""
    rough = pencil_modes(band.samples, N_MODES + 1)
    if not rough:
        return _decay_withheld(band, "too weak")
    for index, candidate in enumerate(rough[:N_MODES]):
        if not _explains_band(candidate, band, slack=ROUGH_SLACK):
            continue
        modes = refine_modes(band.samples, candidate)
        if modes is not None and _explains_band(modes, band):
            return _decay_of_main_mode(
                modes, rough[index + 1] if index + 1 < len(rough) else None, band
            )
    return _decay_withheld(band, "not one mode")


def _decay_withheld(band: _NarrowBand, reason: Reason) -> Decay:
    """Return a decay without a number."""
    return Decay(shortest_s=SHORTEST_SIGMAS * band.ring_s, reason=reason)


def _explains_band(modes: DampedModes, band: _NarrowBand, *, slack: float = 1.0) -> bool:
    """Return whether the modes leave no more than noise, or next to nothing."""
    # Neighbouring samples share their noise: over the filter's memory, sqrt(2 pi) ring_s.
    n_free = modes.n_free * min(1.0, band.step_s / (math.sqrt(2 * math.pi) * band.ring_s))
    noise = band.noise_power * (1 + 3 * math.hypot(1 / math.sqrt(n_free), DENSITY_STD_SHARE))
    trace = float(np.mean(np.abs(band.samples) ** 2)) * 10 ** (EXPLAINED_DB / 10)
    return modes.residual_power <= slack * max(noise, trace)


def _main_mode(modes: DampedModes, band: _NarrowBand) -> int | None:
    """Return the index of the decaying mode near the centre that holds the most energy."""
    turn_hz = modes.exponents.imag / (2 * np.pi * band.step_s)
    near = (np.abs(turn_hz) < band.spread_hz) & (modes.exponents.real < 0)
    if not np.any(near):
        return None
    loss = np.maximum(-2 * modes.exponents.real, 1e-6)
    energy = np.abs(modes.amplitudes) ** 2 * -np.expm1(-loss * band.samples.size) / loss
    return int(np.argmax(energy * near))


def _decay_of_main_mode(modes: DampedModes, check: DampedModes | None, band: _NarrowBand) -> Decay:
    """Return the decay of the main mode, or why there is none.

    The fit with one mode more than needed is a check: its main mode would be the same.
    """
    main = _main_mode(modes, band)
    stds = exponent_std(modes, band.noise_covariance)
    if main is None or stds is None:
        return _decay_withheld(band, "not one mode")
    exponent = complex(modes.exponents[main])
    excess = math.sqrt(max(1.0, modes.residual_power / max(band.noise_power, 1e-300)))
    std = float(stds[main]) * excess
    left = modes.residual_power / float(np.mean(np.abs(band.samples) ** 2))
    model = math.hypot(MODEL_STD_SHARE, HIDDEN_SHARE * math.sqrt(left)) * abs(exponent.real)
    doubt = 0.0
    if check is not None and (other := _main_mode(check, band)) is not None:
        doubt = abs(complex(check.exponents[other]).real - exponent.real)
    share = math.hypot(std, model, doubt) / abs(exponent.real)
    decay_s = -DECAY_60_DB * band.step_s / exponent.real
    if decay_s < SHORTEST_SIGMAS * band.ring_s:
        return _decay_withheld(band, "too short")
    if share > LARGEST_STD_SHARE:
        return _decay_withheld(band, "too uncertain")
    return Decay(
        decay_s=decay_s,
        decay_std_s=share * decay_s,
        frequency_hz=band.centre_hz + exponent.imag / (2 * np.pi * band.step_s),
        frequency_std_hz=math.hypot(std, model, doubt) / (2 * np.pi * band.step_s),
        n_modes=modes.exponents.size,
        shortest_s=SHORTEST_SIGMAS * band.ring_s,
    )
