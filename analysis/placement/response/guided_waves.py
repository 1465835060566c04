r"""The waves that the modes of a section guide between the two ends of a room.

Conventions: those of `analysis.room.section` and `analysis.placement.response.room_response`;
:math:`\kappa` is the wavenumber of a mode of the section, :math:`z` and :math:`z'` are the
places of source and seat along the line of length :math:`H`, sections run along the first axis.
The sum over the waves along the line has a closed form:

.. math:: \sum_n \varepsilon_n \frac{\cos(n\pi z/H) \cos(n\pi z'/H)}{(n\pi/H)^2 - q^2}
   = -\frac{H}{2 q \sin qH} \left[\cos q(H - |z - z'|) + \cos q(H - z - z')\right]

with :math:`q^2 = k^2 - 2jk\delta/c - \kappa^2`. It is split in two: terms that resonate within
the band or near it are computed at each frequency; what the closed form has beyond them is the
*rest*, which has no pole near the band, so it is computed at a few frequencies and
interpolated by a polynomial. The rest holds the waves that don't travel (the near field).

References
----------
P. M. Morse, K. U. Ingard, "Theoretical Acoustics", 1968, sec. 9.2 (from memory).
L. N. Trefethen, "Approximation Theory and Approximation Practice", 2013, ch. 8: a polynomial
in Chebyshev's points converges by how far the nearest pole lies (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.polynomial import chebyshev

from analysis.basics.arrays import Complex, Float

RESONANT_TO: Final = 1.15
"""Terms up to so many times the highest frequency are computed at each frequency."""

N_NODES: Final = 16
"""Frequencies at which the rest is computed: with poles 15 % beyond the band the polynomial
is off by some 1e-5 of the rest (`tests/analysis/placement/response/test_guided_waves.py`)."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class FrequencyBand:
    """Frequencies, and the few at which a smooth function of them is computed.

    Attributes
    ----------
    wavenumber_rad_m : ndarray, shape (f,)
    damping_weight_s_m2 : ndarray, shape (f,)
        :math:`2 k g / c`, by which a damping at 100 Hz enters; `g` is how damping grows.
    node_band : FrequencyBand or None
        The few frequencies; None where these are the few.
    spread : ndarray, shape (n_nodes, f)
        What a function's values there mean at all frequencies.
    """

    wavenumber_rad_m: Float
    damping_weight_s_m2: Float
    node_band: FrequencyBand | None
    spread: Float

    @property
    def nodes(self) -> FrequencyBand:
        """The few frequencies."""
        return self.node_band or self


def frequency_band(
    frequency_hz: Float, *, loss_slope: float, speed_of_sound_m_s: float
) -> FrequencyBand:
    """Return frequencies as a band.

    Parameters
    ----------
    frequency_hz : ndarray, shape (f,)
        Above 0.
    loss_slope : float
        Damping grows as the frequency over 100 Hz to this power.
    """
    k = 2 * np.pi * frequency_hz / speed_of_sound_m_s
    turn = 2 * k * (frequency_hz / 100.0) ** loss_slope / speed_of_sound_m_s
    if frequency_hz.size <= N_NODES:
        spread = np.eye(frequency_hz.size)
        return FrequencyBand(
            wavenumber_rad_m=k, damping_weight_s_m2=turn, node_band=None, spread=spread
        )
    low, high = float(frequency_hz.min()), float(frequency_hz.max())
    nodes = chebyshev.chebpts1(N_NODES)
    place = (frequency_hz - low) * (2 / (high - low)) - 1 if high > low else 0 * frequency_hz
    scaled = chebyshev.chebvander(nodes, N_NODES - 1) * (2 / N_NODES)
    scaled[:, 0] *= 0.5  # the polynomials' discrete norm on these points
    few = frequency_band(
        low + 0.5 * (nodes + 1) * (high - low),
        loss_slope=loss_slope,
        speed_of_sound_m_s=speed_of_sound_m_s,
    )
    spread = scaled @ chebyshev.chebvander(place, N_NODES - 1).T
    return FrequencyBand(wavenumber_rad_m=k, damping_weight_s_m2=turn, node_band=few, spread=spread)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class ModeAxis:
    """A line with source and seat on it."""

    length_m: float
    source_m: float
    seat_m: float

    def wavenumber_rad_m(self, n: int) -> float:
        """Return that of a cosine with n half waves."""
        return n * math.pi / self.length_m

    def weight(self, n: int) -> float:
        """Return what a cosine weighs in the sum."""
        k = self.wavenumber_rad_m(n)
        ends = math.cos(k * self.source_m) * math.cos(k * self.seat_m)
        return ends if n == 0 else 2 * ends


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class GuidedWaves:
    """What each mode of a section passes from source to seat, per unit of shape at both.

    Attributes
    ----------
    resonant : ndarray of complex, shape (n_resonant, f)
        The resonant terms of the first modes of the section, which are all that have any.
    rest : ndarray of complex, shape (n, n_nodes)
        What all modes have beyond them, at the band's nodes.
    """

    resonant: Complex
    rest: Complex


def guided_waves(
    section_rad_m: Float,
    dampings_per_s: tuple[Float, Float],
    line: ModeAxis,
    band: FrequencyBand,
    *,
    factor: float = 1.0,
) -> GuidedWaves:
    """Return the waves between two places on a line.

    Parameters
    ----------
    section_rad_m : ndarray, shape (n,)
        Wavenumbers of the section's modes, about rising; the uniform one first.
    dampings_per_s : tuple of ndarray, shape (n,)
        At 100 Hz, of the waves that are alike all along the line, and of the others.
    factor : float
        Of the result.
    """
    square = section_rad_m**2
    top = (RESONANT_TO * float(band.wavenumber_rad_m.max())) ** 2
    n_waves = math.floor(math.sqrt(top) * line.length_m / math.pi) + 1
    starts = [line.wavenumber_rad_m(n) ** 2 for n in range(n_waves)]
    # A stretched section's modes may stand a little out of order: some more are taken along.
    within = [np.flatnonzero(square <= top - start) for start in starts]
    counts = [int(one[-1]) + 1 if one.size else 0 for one in within]
    resonant = np.zeros((max(counts), band.wavenumber_rad_m.size), dtype=np.complex128)
    for n, (start, count) in enumerate(zip(starts, counts, strict=True)):
        gap = square[:count, np.newaxis] + (start - band.wavenumber_rad_m**2)
        loss = dampings_per_s[min(n, 1)][:count, np.newaxis] * band.damping_weight_s_m2
        # One over gap + j loss, in real numbers: half the work.
        strength = factor * line.weight(n) / (gap * gap + loss * loss)
        resonant.real[:count] += gap * strength
        resonant.imag[:count] -= loss * strength
    rest = _closed_form_sum(square, dampings_per_s[1], line, band.nodes)
    for n, count in enumerate(counts):
        rest[:count] -= line.weight(n) / _denominator(
            square[:count], dampings_per_s[1], line, band.nodes, n
        )
    # The wave that is alike all along has its own damping.
    beyond = slice(counts[0], None)
    for damping, sign in zip(dampings_per_s, (1, -1), strict=True):
        one = _denominator(square[beyond], damping[beyond], line, band.nodes, 0)
        rest[beyond] += sign * line.weight(0) / one
    return GuidedWaves(resonant=resonant, rest=factor * rest)


def _denominator(
    square: Float, damping: Float, line: ModeAxis, band: FrequencyBand, n: int
) -> Complex:
    """Return what a term of the sum has below its fraction line, shape (n_modes, f)."""
    start = line.wavenumber_rad_m(n) ** 2
    gap = square[:, np.newaxis] + (start - band.wavenumber_rad_m**2)
    return np.asarray(gap + 1j * damping[: square.size, np.newaxis] * band.damping_weight_s_m2)


def _closed_form_sum(square: Float, damping: Float, line: ModeAxis, band: FrequencyBand) -> Complex:
    """Return the whole sum along the line, shape (n_modes, f)."""
    q = np.sqrt(-_denominator(square, damping, line, band, 0))
    q = np.where(q.imag > 0, -q, q)  # so that the exponentials below decay
    paths = (abs(line.source_m - line.seat_m), line.source_m + line.seat_m, 2 * line.length_m)
    there, both, round_trip = (np.exp(-1j * q * path) for path in paths)
    # The other way round: 1 / there could overflow where the wave doesn't travel.
    back = np.exp(-1j * q * (paths[2] - paths[0])) + np.exp(-1j * q * (paths[2] - paths[1]))
    waves = there + both + back
    return np.asarray(-0.5j * line.length_m * waves / (q * (1 - round_trip)))
