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
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from analysis.basics.arrays import Float
from analysis.pair.direct_gate import echo_level_db
from analysis.pair.gated_power import RISE_S, GatedPower, band_weights, gated_power
from analysis.signals.bands import Bands, octave_bands
from analysis.signals.impulse_response import ImpulseResponse

TOP_HZ: Final = 8000.0
"""Above it a microphone's angle and a tweeter's beam decide, not the gain."""

SEAT_FROM_HZ: Final = 200.0
"""Below it single room modes decide, and a mean over them depends on the seat alone."""

SEAT_WINDOW_S: Final = 0.3
"""Steady state: 30 dB of decay in a room of 0.6 s; what comes later is alike for both."""

MOST_STD_DB: Final = 1.0
"""A difference less certain than this guides no knob and is withheld."""

PLACE_STD_DB: Final = 0.1
"""How much the direct sound differs about the place where the microphone is put (assumed)."""

HIDDEN_ECHO_S: Final = 0.45e-3
"""An echo so early can't be told from the loudspeaker's own response, nor be gated off."""

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
        One sigma, in dB: of the seat's figure from this recording's noise; of the direct
        sound's with `PLACE_STD_DB` and what an echo in the gate or unlike loudspeakers hide.
    noise_std_db : float or None
        The part of it that comes from the noise.
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
    noise_std_db: float | None = None


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
    direct = [gated_power(side, at_s, gate_s) for side, at_s in sides]
    seat_s = min(SEAT_WINDOW_S, *(side.time_s[-1] - at_s for side, at_s in sides))
    seat = [gated_power(side, at_s, seat_s) for side, at_s in sides]
    gaps_hz = (*left.gaps_hz, *right.gaps_hz)
    seat_band_hz = (max(SEAT_FROM_HZ, 2 / seat_s, bottom_hz), top_hz)
    difference = _level_difference(seat, seat_band_hz, gaps_hz)
    direct_band_hz = (max(1 / gate_s, bottom_hz), top_hz)
    return LevelMatch(
        direct=_doubt_direct(
            _level_difference(direct, direct_band_hz, gaps_hz), direct, direct_band_hz, gaps_hz
        ),
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


def _level_difference(
    sides: list[GatedPower],
    band_hz: tuple[float, float],
    gaps_hz: tuple[tuple[float, float], ...],
) -> LevelDifference:
    """Return the difference over a band and in its third octaves."""
    if band_hz[0] * 2 > band_hz[1]:
        short = f"only {band_hz[0]:.0f} to {band_hz[1]:.0f} Hz is left, less than an octave"
        return LevelDifference(
            left_minus_right_db=None, std_db=None, band_hz=None, bands=(), reason=short
        )
    weights = band_weights(sides[0].frequency_hz, band_hz, gaps_hz)
    level_db, std_db = _weighted_difference(sides, weights)
    reason: str | None = None
    if np.sum(weights) < 0.5:
        level_db, reason = None, "more than half of the band was lost to spoilt passes"
    elif level_db is None:
        reason = f"noise hides one loudspeaker between {band_hz[0]:.0f} and {band_hz[1]:.0f} Hz"
    return LevelDifference(
        left_minus_right_db=level_db,
        std_db=std_db if level_db is not None else None,
        noise_std_db=std_db if level_db is not None else None,
        band_hz=band_hz,
        bands=_band_levels(sides, octave_bands(*band_hz), gaps_hz),
        reason=reason,
    )


def _doubt_direct(
    found: LevelDifference,
    sides: list[GatedPower],
    band_hz: tuple[float, float],
    gaps_hz: tuple[tuple[float, float], ...],
) -> LevelDifference:
    """Return the direct sound's difference with all that its sigma must hold."""
    if found.std_db is None:
        return found
    weights = band_weights(sides[0].frequency_hz, band_hz, gaps_hz)
    hidden_db = _hidden_std_db(_unlike_ripple(sides, weights), band_hz)
    std_db = math.hypot(found.std_db, hidden_db, PLACE_STD_DB)
    if std_db < MOST_STD_DB:
        return replace(found, std_db=std_db)
    reason = (
        f"left and right differ so unevenly that an early reflection may hide {hidden_db:.1f} dB; "
        "move what stands near away from loudspeakers and microphone, and measure again"
    )
    return replace(found, left_minus_right_db=None, std_db=None, noise_std_db=None, reason=reason)


def _unlike_ripple(sides: list[GatedPower], weights: Float) -> float:
    """Return how unevenly two powers differ over a band beyond their noise, RMS in neper."""
    heard = weights > 0
    for side in sides:
        heard = heard & (side.power**2 > side.variance)
    if not np.any(heard):
        return 0.0
    share = weights[heard] / np.sum(weights[heard])
    ratio = 0.5 * np.log(sides[0].power[heard] / sides[1].power[heard])
    noise = sum(0.25 * side.variance[heard] / side.power[heard] ** 2 for side in sides)
    uneven = (ratio - np.sum(share * ratio)) ** 2
    return math.sqrt(max(float(np.sum(share * (uneven - noise))), 0.0))


def _hidden_std_db(ripple: float, band_hz: tuple[float, float]) -> float:
    r"""Return what an early echo that makes such a ripple may do to a band's level, in dB.

    Notes
    -----
    An echo of share a ripples the logarithm of a response by :math:`a/\sqrt 2` neper (RMS, for
    small a). Unlike loudspeakers ripple too: which of them it is can't be told.
    """
    return abs(echo_level_db(math.sqrt(2) * ripple, HIDDEN_ECHO_S, band_hz))


def _band_levels(
    sides: list[GatedPower], bands: Bands, gaps_hz: tuple[tuple[float, float], ...]
) -> tuple[BandLevel, ...]:
    """Return the difference of each band of which more than half is left."""
    levels = []
    for centre_hz, *edges_hz in zip(bands.centre_hz, bands.lower_hz, bands.upper_hz, strict=True):
        weights = band_weights(sides[0].frequency_hz, (edges_hz[0], edges_hz[1]), gaps_hz)
        if np.sum(weights) > 0.5:
            level_db, std_db = _weighted_difference(sides, weights)
            levels.append(
                BandLevel(centre_hz=float(centre_hz), left_minus_right_db=level_db, std_db=std_db)
            )
    return tuple(levels)


def _weighted_difference(
    sides: list[GatedPower], weights: Float
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
