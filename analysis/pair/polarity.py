r"""Whether a pair of loudspeakers is wired alike, and which way each one moves first.

Conventions: +1 where a positive sample of the file first raises the pressure at the
microphone, -1 where it lowers it. A microphone or an input that inverts turns both signs
round and leaves their agreement alone.

A crossover may invert the tweeter on purpose, so the very first swing says nothing. The
low band does: a loudspeaker's woofer is close to minimum phase well above its lower limit
and well below its crossover, so with the arrival's delay taken out the transfer function
is there near its positive real axis, or near the negative one if the wires are swapped.
For each of two bands, :math:`H` gated and its time counted from the arrival,

.. math:: c = \frac{\sum \mathrm{Re}\,H(f)}{\sum |H(f)|}

on frequencies evenly spaced in octaves: the woofer's band in a long window, in which the
room's early reflections, themselves positive, only blur it, and a band above in a window
short enough to leave most of them out. Their mean decides.

Whether the two agree doesn't need any of this: the same band and the band above it, which
holds the crossover, are correlated between left and right,

.. math:: \rho = \frac{\mathrm{Re} \sum H_L H_R^*}{\sqrt{\sum|H_L|^2 \sum|H_R|^2}}.

Swapped wires turn both correlations negative; a single driver wired backwards turns one.

References
----------
S. P. Lipshitz, J. Vanderkooy, "A family of linear-phase crossover networks of high slope
derived by time delay", J. Audio Eng. Soc. 31 (1983), and S. H. Linkwitz, "Active crossover
networks for noncoincident drivers", J. Audio Eng. Soc. 24 (1976), for crossovers that
invert a driver (both from memory). The rule and its thresholds are this project's own;
its error rates are in ``docs/level_and_polarity.md``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.basics.arrays import Complex, Float
from analysis.signals.impulse_response import ImpulseResponse


@dataclass(frozen=True, kw_only=True, slots=True)
class _Band:
    """A band, and the window after the arrival in which it is looked at."""

    low_hz: float
    high_hz: float
    window_s: float
    n_frequencies: int


WOOFER: Final = _Band(low_hz=100.0, high_hz=250.0, window_s=5e-3, n_frequencies=16)
LOW: Final = _Band(low_hz=150.0, high_hz=600.0, window_s=1.5e-3, n_frequencies=16)
HIGH: Final = _Band(low_hz=700.0, high_hz=8000.0, window_s=1.4e-3, n_frequencies=64)

LEAST_COSINE: Final = 0.3
"""Mean of c below which the phase lies too far from either axis to call a sign."""

LEAST_CORRELATION: Final = 0.4
"""Below it a band's correlation is no witness: its phases differ by 65 degrees or more."""

SURE_CORRELATION: Final = 0.6
"""Enough for one band to decide alone."""

EVIDENCE_SIGMAS: Final = 4.0
"""What stands out from the noise by less is no evidence (chance below 1 in 10,000)."""

RISE_S: Final = 2.5e-4
"""The windows open this long before the arrival."""

LAGS_S: Final[Float] = np.asarray(np.arange(-12, 13) * 5e-6, dtype=np.float64)
"""The high band's correlation takes the best of these lags, so that an arrival that is out
by some 50 us changes no sign. A half period at 8 kHz is 62 us."""


@dataclass(frozen=True, kw_only=True, slots=True)
class PolarityMatch:
    """The polarity of a pair.

    Attributes
    ----------
    left, right : int or None
        1, -1, or None where the recording doesn't support a sign.
    matched : bool or None
        Whether both have the same; None where undecided.
    low_correlation, high_correlation : float or None
        From -1 to 1: of left and right below and above 700 Hz; None where noise rules.
    reasons : tuple of str
        Why anything is None.
    """

    left: int | None
    right: int | None
    matched: bool | None
    low_correlation: float | None
    high_correlation: float | None
    reasons: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _GatedResponse:
    """The transfer function of one side in one band, and that of its noise.

    Attributes
    ----------
    response : ndarray of complex, shape (n,)
    noises : ndarray of complex, shape (n_stretches, n)
    """

    response: Complex
    noises: Complex


_Side = tuple[ImpulseResponse, float]
"""A response and its arrival, in seconds."""


def match_polarity(
    left: ImpulseResponse, right: ImpulseResponse, *, left_s: float, right_s: float
) -> PolarityMatch:
    """Return the polarity of each loudspeaker and whether the two agree.

    Parameters
    ----------
    left_s, right_s : float
        Arrival of the direct sound, in seconds on the responses' common axis, right to
        within some 50 us.

    Raises
    ------
    ValueError
        If an arrival lies outside its response.
    """
    sides = ((left, left_s), (right, right_s))
    for name, (side, at_s) in zip(("left_s", "right_s"), sides, strict=True):
        if not side.start_s <= at_s <= side.time_s[-1]:
            msg = (
                f"{name} {at_s} s must lie inside its response, which spans "
                f"{side.start_s:.6f} to {side.time_s[-1]:.6f} s"
            )
            raise ValueError(msg)
    low = _correlate(sides, LOW, lags_s=np.zeros(1))
    high = _correlate(sides, HIGH, lags_s=LAGS_S)
    matched, reason = _judge_agreement(low, high)
    signs, reasons = _find_signs(sides, matched)
    return PolarityMatch(
        left=signs[0],
        right=signs[1],
        matched=matched,
        low_correlation=low,
        high_correlation=high,
        reasons=(*(() if reason is None else (reason,)), *reasons),
    )


def _find_signs(
    sides: tuple[_Side, _Side], matched: bool | None
) -> tuple[list[int | None], list[str]]:
    """Return both signs, made to fit the agreement where that is known, and why one is None."""
    found = [_low_band_sign(*side) for side in sides]
    signs = [sign for sign, _ in found]
    left, right = signs
    if matched is not None:
        turn = 1 if matched else -1
        if left is not None and right is not None and left != turn * right:
            return [None, None], ["the signs found one by one contradict their agreement"]
        # The agreement is the surer of the two findings, so one sign gives the other.
        left = turn * right if left is None and right is not None else left
        right = turn * left if right is None and left is not None else right
    reasons = [
        f"{name}: {reason}"
        for name, sign, (_, reason) in zip(("left", "right"), (left, right), found, strict=True)
        if sign is None
    ]
    return [left, right], reasons


def _judge_agreement(low: float | None, high: float | None) -> tuple[bool | None, str | None]:
    """Return whether the pair is wired alike by the two correlations, or why that is open."""
    weights = [value for value in (low, high) if value is not None]
    if not weights:
        return None, "noise hides the correlation of left and right"
    if low is not None and high is not None:
        weaker = min(abs(low), abs(high))
        if low * high > 0 and abs(low) + abs(high) > 2 * LEAST_CORRELATION:
            return low > 0, None
        if low * high < 0 and weaker > LEAST_CORRELATION:
            return None, (
                "left and right agree in one range and oppose each other in another: a single "
                "driver may be wired backwards, or the two loudspeakers are of unlike design"
            )
    stronger = max(weights, key=abs)
    if abs(stronger) > SURE_CORRELATION:
        return stronger > 0, None
    return None, "the two responses are too unlike to tell whether their polarity agrees"


def _low_band_sign(side: ImpulseResponse, at_s: float) -> tuple[int | None, str | None]:
    """Return the sign of a loudspeaker's low band, or why there is none."""
    cosines = []
    for band in (WOOFER, LOW):
        frequency_hz = _usable_frequencies(band, side)
        if frequency_hz.size == 0:
            return None, f"{band.low_hz:.0f} to {band.high_hz:.0f} Hz is missing"
        gated = _gate_response(side, at_s, band, frequency_hz)
        real = float(np.sum(gated.response.real))
        sigma = float(np.std(np.sum(gated.noises.real, axis=-1)))
        size = float(np.sum(np.abs(gated.response)))
        if size < EVIDENCE_SIGMAS * sigma:
            return None, f"{band.low_hz:.0f} to {band.high_hz:.0f} Hz is lost in noise"
        cosines.append(real / size if abs(real) > EVIDENCE_SIGMAS * sigma else 0.0)
    mean = sum(cosines) / len(cosines)
    if abs(mean) < LEAST_COSINE:
        return None, (
            "the low band's phase lies between the two signs, as where a woofer and a midrange "
            "driver are inverted against each other"
        )
    return int(math.copysign(1, mean)), None


def _usable_frequencies(band: _Band, *sides: ImpulseResponse) -> Float:
    """Return the band's frequencies that every side has, none if they are less than half."""
    frequency_hz = np.geomspace(band.low_hz, band.high_hz, band.n_frequencies)
    inside = np.ones(frequency_hz.size, dtype=bool)
    for side in sides:
        inside &= (frequency_hz >= side.band_hz[0]) & (frequency_hz <= side.band_hz[1])
        for low_hz, high_hz in side.gaps_hz:
            inside &= (frequency_hz < low_hz) | (frequency_hz > high_hz)
    enough = np.count_nonzero(inside) >= band.n_frequencies / 2
    return np.asarray(frequency_hz[inside] if enough else frequency_hz[:0])


def _gate_response(
    side: ImpulseResponse, at_s: float, band: _Band, frequency_hz: Float
) -> _GatedResponse:
    """Return a side's gated transfer function, its time counted from the arrival."""
    rate_hz = side.sample_rate_hz
    first = max(math.ceil((at_s - RISE_S - side.start_s) * rate_hz), 0)
    last = min(math.floor((at_s + band.window_s - side.start_s) * rate_hz) + 1, side.samples.size)
    time_s = side.start_s + np.arange(first, last) / rate_hz - at_s
    gate = np.cos(0.5 * np.pi * np.clip(time_s / band.window_s, 0, 1)) ** 2
    fourier = gate[:, np.newaxis] * np.exp(-2j * np.pi * np.outer(time_s, frequency_hz))
    n_stretches = max(side.noise.size // time_s.size, 1)
    noise = np.resize(side.noise, n_stretches * time_s.size).reshape(n_stretches, time_s.size)
    return _GatedResponse(response=side.samples[first:last] @ fourier, noises=noise @ fourier)


def _correlate(sides: tuple[_Side, _Side], band: _Band, *, lags_s: Float) -> float | None:
    """Return the normalised correlation at the lag where it is strongest; None in noise."""
    frequency_hz = _usable_frequencies(band, *(side for side, _ in sides))
    if frequency_hz.size == 0:
        return None
    left, right = (_gate_response(side, at_s, band, frequency_hz) for side, at_s in sides)
    turn = np.exp(2j * np.pi * np.outer(lags_s, frequency_hz))
    products = np.real(turn @ (left.response * np.conj(right.response)))
    best = int(np.argmax(np.abs(products)))
    n_stretches = min(left.noises.shape[0], right.noises.shape[0])
    # Both sides may carry the same stretch of noise: pair each with another one.
    noisy = (left.response + left.noises[:n_stretches]) * np.conj(
        right.response + np.roll(right.noises[:n_stretches], 1, axis=0)
    )
    sigma = float(np.std(np.real(noisy @ turn[best])))
    size = float(np.linalg.norm(left.response) * np.linalg.norm(right.response))
    if size == 0 or abs(products[best]) < EVIDENCE_SIGMAS * sigma:
        return None
    return float(products[best]) / size
