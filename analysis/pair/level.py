r"""How much louder one loudspeaker of a pair is than the other, at the seat.

Conventions: left minus right, positive where left is louder. Two answers: the *direct*
sound, from a gate that ends before the first strong reflection, and the *seat*, the
steady state with the room in it. Both in third octaves and as one figure to act on,

.. math:: \Delta = 10 \log_{10} \frac{\int |H_L|^2\,d\ln f}{\int |H_R|^2\,d\ln f},

the power mean with equal weight per octave, less the power of the noise.

A gate that ends :math:`T` after the arrival resolves nothing below about :math:`1/T`,
so the direct sound is given from there on. The noise's power in the same window is
measured on the noise that comes with each response.

References
----------
IEC 61260-1:2014 for the bands (second-hand).
M. R. Schroeder, "Frequency-correlation functions of frequency responses in rooms",
J. Acoust. Soc. Am. 34, 1819 (1962), and D. Lubman, "Fluctuations of sound with
position in a reverberant room", J. Acoust. Soc. Am. 44, 1491 (1968), for what one
point can't tell (both from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import fft

from analysis.basics.arrays import Float
from analysis.signals.bands import Bands, octave_bands
from analysis.signals.impulse_response import ImpulseResponse
from analysis.signals.noise_spectrum import welch_noise_density

TOP_HZ: Final = 8000.0
"""Above it a microphone's angle and a tweeter's beam decide, not the gain."""

SEAT_FROM_HZ: Final = 200.0
"""Below it single room modes decide, and a mean over them depends on the seat alone."""

SEAT_WINDOW_S: Final = 0.3
"""Steady state: 30 dB of decay in a room of 0.6 s; what comes later is alike for both."""

RISE_S: Final = 2.5e-4
"""The window opens this long before the arrival, for the band limit's ringing."""

FALL: Final = 0.25
"""Share of the window in which it closes."""

MOST_STD_DB: Final = 1.0
"""A difference less certain than this guides no knob and is withheld."""

NOISE_BLOCK: Final = 2048

_PER_DB: Final = 10 / math.log(10)


@dataclass(frozen=True, kw_only=True, slots=True)
class BandLevel:
    """The difference in one third octave.

    Attributes
    ----------
    centre_hz : float
        Exact mid-band frequency, in Hz.
    left_minus_right_db : float or None
        In dB; None where noise hides it.
    std_db : float or None
        One sigma from the noise, in dB.
    """

    centre_hz: float
    left_minus_right_db: float | None
    std_db: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class LevelDifference:
    """Left minus right over one band, and in its third octaves.

    Attributes
    ----------
    left_minus_right_db : float or None
        In dB; None where it is withheld.
    std_db : float or None
        One sigma from this recording's noise, in dB.
    band_hz : tuple of float or None
        Lowest and highest frequency of the figure, in Hz.
    bands : tuple of BandLevel
        The third octaves whose centres lie in `band_hz`, those lost to gaps left out.
    reason : str or None
        Why the figure is withheld.
    """

    left_minus_right_db: float | None
    std_db: float | None
    band_hz: tuple[float, float] | None
    bands: tuple[BandLevel, ...]
    reason: str | None


@dataclass(frozen=True, kw_only=True, slots=True)
class LevelMatch:
    """The level difference of the direct sound and of the steady state.

    Attributes
    ----------
    gate_s : float
        Length of the direct sound's gate after the arrival, in seconds.
    seat_point_std_db : float or None
        How much the seat's figure varies from point to point by the room's interference,
        one sigma in dB, for a diffuse field: what a single microphone can't tell.
    """

    direct: LevelDifference
    seat: LevelDifference
    gate_s: float
    seat_point_std_db: float | None


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _GatedPower:
    """One side's windowed power and what noise does to it.

    Attributes
    ----------
    frequency_hz : ndarray, shape (n_bins,)
    power, variance : ndarray, shape (n_bins,)
        Of each bin: power less that of the noise, and its variance.
    shared_bins : float
        How many neighbouring bins share one value of the noise.
    """

    frequency_hz: Float
    power: Float
    variance: Float
    shared_bins: float


def match_levels(
    left: ImpulseResponse,
    right: ImpulseResponse,
    *,
    left_s: float,
    right_s: float,
    gate_s: float,
) -> LevelMatch:
    """Return how much louder the left loudspeaker is than the right, in dB.

    Parameters
    ----------
    left, right : ImpulseResponse
        With one sampling frequency.
    left_s, right_s : float
        Arrival of the direct sound, in seconds on the responses' common axis.
    gate_s : float
        Length of the gate after the arrival, in seconds, above 0; the same for both,
        so that both lose the same.

    Raises
    ------
    ValueError
        If the sampling frequencies differ, the gate has no length, or an arrival lies
        outside its response.
    """
    _require_valid(left, right, left_s, right_s, gate_s)
    sides = ((left, left_s), (right, right_s))
    top_hz = min(TOP_HZ, left.band_hz[1], right.band_hz[1])
    bottom_hz = max(left.band_hz[0], right.band_hz[0])
    direct = [_gated_power(side, at_s, gate_s) for side, at_s in sides]
    seat_s = min(SEAT_WINDOW_S, *(side.time_s[-1] - at_s for side, at_s in sides))
    seat = [_gated_power(side, at_s, seat_s) for side, at_s in sides]
    gaps_hz = (*left.gaps_hz, *right.gaps_hz)
    seat_band_hz = (max(SEAT_FROM_HZ, 2 / seat_s, bottom_hz), top_hz)
    difference = _level_difference(seat, seat_band_hz, gaps_hz)
    return LevelMatch(
        direct=_level_difference(direct, (max(1 / gate_s, bottom_hz), top_hz), gaps_hz),
        seat=difference,
        gate_s=gate_s,
        seat_point_std_db=None
        if difference.left_minus_right_db is None
        else math.hypot(*(_point_std_db(*side, gate_s, seat_s, seat_band_hz) for side in sides)),
    )


def _require_valid(
    left: ImpulseResponse, right: ImpulseResponse, left_s: float, right_s: float, gate_s: float
) -> None:
    if left.sample_rate_hz != right.sample_rate_hz:
        msg = (
            f"right is sampled at {right.sample_rate_hz} Hz; it must be sampled like left, "
            f"at {left.sample_rate_hz} Hz"
        )
        raise ValueError(msg)
    if not 0 < gate_s < math.inf:
        msg = f"gate_s {gate_s} must be greater than zero"
        raise ValueError(msg)
    for name, side, at_s in (("left_s", left, left_s), ("right_s", right, right_s)):
        if not side.start_s <= at_s < side.time_s[-1] - gate_s:
            msg = (
                f"{name} {at_s} s must lie at least a gate before the end of its response, "
                f"which spans {side.start_s:.6f} to {side.time_s[-1]:.6f} s"
            )
            raise ValueError(msg)


def gate_window(time_s: Float, length_s: float) -> Float:
    """Return the gate at times from the arrival: opens just before, closes softly.

    Parameters
    ----------
    time_s : ndarray
        Seconds after the arrival.
    length_s : float
        When the gate is shut, in seconds after the arrival.

    Returns
    -------
    ndarray
        From 0 to 1.
    """
    rise = np.clip((time_s + RISE_S) / (0.5 * RISE_S), 0, 1)
    fall = np.clip((length_s - time_s) / (FALL * length_s), 0, 1)
    return np.asarray(np.sin(0.5 * np.pi * rise) ** 2 * np.sin(0.5 * np.pi * fall) ** 2)


def _gated_power(side: ImpulseResponse, at_s: float, length_s: float) -> _GatedPower:
    """Return the power of a stretch from its arrival on, with what noise does to it."""
    rate_hz = side.sample_rate_hz
    first = max(math.ceil((at_s - RISE_S - side.start_s) * rate_hz), 0)
    last = min(math.floor((at_s + length_s - side.start_s) * rate_hz) + 1, side.samples.size)
    gate = gate_window(side.start_s + np.arange(first, last) / rate_hz - at_s, length_s)
    # Two bins or more to the gate's resolution, so that no band falls between bins; a sample
    # more or less in one side's gate makes no other length.
    n_gate = math.ceil((length_s + RISE_S) * rate_hz) + 1
    n_fft = fft.next_fast_len(max(2 * n_gate, 1024), real=True)
    spectrum = fft.rfft(side.samples[first:last] * gate, n_fft)
    frequency_hz = fft.rfftfreq(n_fft, 1 / rate_hz)
    power = spectrum.real**2 + spectrum.imag**2
    noise = np.sum(gate**2) * welch_noise_density(
        side.noise, frequency_hz, sample_rate_hz=rate_hz, block=NOISE_BLOCK
    )
    # A complex Gaussian added to a fixed value: Var|h + n|^2 = 2 |h|^2 N + N^2.
    clean = np.maximum(power - noise, 0)
    return _GatedPower(
        frequency_hz=frequency_hz,
        power=power - noise,
        variance=2 * clean * noise + noise**2,
        shared_bins=n_fft * float(np.sum(gate**4) / np.sum(gate**2) ** 2),
    )


def _band_weights(
    frequency_hz: Float, band_hz: tuple[float, float], gaps_hz: tuple[tuple[float, float], ...]
) -> Float:
    """Return each bin's share of a band on a logarithmic axis; the whole band sums to 1."""
    step_hz = frequency_hz[1]
    lower = np.maximum(frequency_hz - step_hz / 2, step_hz / 2)
    upper = frequency_hz + step_hz / 2

    def span(low_hz: float, high_hz: float) -> Float:
        return np.asarray(np.log(np.clip(upper, low_hz, high_hz) / np.clip(lower, low_hz, high_hz)))

    total = span(*band_hz)
    for low_hz, high_hz in _merge_gaps(gaps_hz):
        low_hz, high_hz = max(low_hz, band_hz[0]), min(high_hz, band_hz[1])
        if low_hz < high_hz:
            total = total - span(low_hz, high_hz)
    return np.asarray(np.maximum(total, 0) / math.log(band_hz[1] / band_hz[0]))


def _merge_gaps(gaps_hz: tuple[tuple[float, float], ...]) -> list[tuple[float, float]]:
    """Return the gaps with those that overlap made one."""
    joined: list[tuple[float, float]] = []
    for low_hz, high_hz in sorted(gaps_hz):
        if joined and low_hz <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], high_hz))
        else:
            joined.append((low_hz, high_hz))
    return joined


def _level_difference(
    sides: list[_GatedPower],
    band_hz: tuple[float, float],
    gaps_hz: tuple[tuple[float, float], ...],
) -> LevelDifference:
    """Return the difference over a band and in its third octaves."""
    if band_hz[0] * 2 > band_hz[1]:
        short = f"only {band_hz[0]:.0f} to {band_hz[1]:.0f} Hz is left, less than an octave"
        return LevelDifference(
            left_minus_right_db=None, std_db=None, band_hz=None, bands=(), reason=short
        )
    weights = _band_weights(sides[0].frequency_hz, band_hz, gaps_hz)
    level_db, std_db = _weighted_difference(sides, weights)
    reason: str | None = None
    if np.sum(weights) < 0.5:
        level_db, reason = None, "more than half of the band was lost to spoilt passes"
    elif level_db is None:
        reason = f"noise hides one loudspeaker between {band_hz[0]:.0f} and {band_hz[1]:.0f} Hz"
    return LevelDifference(
        left_minus_right_db=level_db,
        std_db=std_db if level_db is not None else None,
        band_hz=band_hz,
        bands=_band_levels(sides, octave_bands(*band_hz), gaps_hz),
        reason=reason,
    )


def _band_levels(
    sides: list[_GatedPower], bands: Bands, gaps_hz: tuple[tuple[float, float], ...]
) -> tuple[BandLevel, ...]:
    """Return the difference of each band of which more than half is left."""
    levels = []
    for centre_hz, *edges_hz in zip(bands.centre_hz, bands.lower_hz, bands.upper_hz, strict=True):
        weights = _band_weights(sides[0].frequency_hz, (edges_hz[0], edges_hz[1]), gaps_hz)
        if np.sum(weights) > 0.5:
            level_db, std_db = _weighted_difference(sides, weights)
            levels.append(
                BandLevel(centre_hz=float(centre_hz), left_minus_right_db=level_db, std_db=std_db)
            )
    return tuple(levels)


def _weighted_difference(
    sides: list[_GatedPower], weights: Float
) -> tuple[float | None, float | None]:
    """Return the difference of two weighted powers and its sigma, or None where noise rules."""
    powers, relative = [], []
    for side in sides:
        # Sums, not `@`: a threaded product of long vectors is slow on a busy machine.
        power = float(np.sum(weights * side.power))
        variance = side.shared_bins * float(np.sum(weights**2 * side.variance))
        powers.append(power)
        relative.append(math.sqrt(variance) / power if power > 0 else math.inf)
    std_db = _PER_DB * math.hypot(*relative)
    if not std_db < MOST_STD_DB:
        return None, None
    return 10 * math.log10(powers[0] / powers[1]), std_db


def _point_std_db(
    side: ImpulseResponse,
    at_s: float,
    gate_s: float,
    length_s: float,
    band_hz: tuple[float, float],
) -> float:
    r"""Return how much a band's power varies from point to point, one sigma in dB.

    Notes
    -----
    In a diffuse field the squared response at two frequencies is correlated by
    :math:`|\int p\,e^{-i 2\pi\Delta t}dt|^2` with :math:`p` the energy's distribution over
    time, so one value spans :math:`\int p^2 dt` Hz (6.9/T for a decay time T). With
    :math:`d` the direct sound's share of the energy the relative variance of a mean with
    weights :math:`w(f)` is :math:`(1 - d^2) \int p^2 dt \int w^2 df`.
    """
    rate_hz = side.sample_rate_hz
    first = round((at_s + gate_s - side.start_s) * rate_hz)
    last = round((at_s + length_s - side.start_s) * rate_hz)
    begin = max(round((at_s - RISE_S - side.start_s) * rate_hz), 0)
    noise_power = float(np.mean(side.noise**2))
    n_frame = max(round(0.01 * rate_hz), 1)
    n_frames = max((last - first) // n_frame, 1)
    late = side.samples[first : first + n_frames * n_frame]
    energy = np.add.reduceat(late**2, np.arange(0, late.size, n_frame)) - noise_power * n_frame
    energy = np.maximum(energy, 0)
    reverberant = float(np.sum(energy))
    direct = max(float(np.sum(side.samples[begin:first] ** 2)) - noise_power * (first - begin), 0)
    if reverberant == 0:
        return 0.0
    span_hz = float(np.sum(energy**2)) / reverberant**2 / (n_frame / rate_hz)
    low_hz, high_hz = band_hz
    density = (1 / low_hz - 1 / high_hz) / math.log(high_hz / low_hz) ** 2
    share = direct / (direct + reverberant)
    return _PER_DB * math.sqrt((1 - share**2) * span_hz * density)
