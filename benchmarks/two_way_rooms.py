r"""Rooms heard from loudspeakers of two drivers, one above the other, aimed and beaming.

Conventions: those of `benchmarks.rooms`; a layout's loudspeaker position is its tweeter, and
the woofer stands `woofer_below_m` under it. The truth of an arrival is the tweeters' geometry,
that of a level the free field of each loudspeaker at the microphone.

Each driver has its own mirror images up to the second order, laid down as phases, so that no
delay is rounded. An image beams where its mirrored axis points: a piston of radius *a* in a
baffle, :math:`2 J_1(ka \sin\theta)/(ka \sin\theta)`, held beyond 90 degrees. Air absorbs as
ISO 9613-1 says at 20 degrees C and 50 % humidity. Walls and furniture as in `benchmarks.rooms`.

References
----------
ISO 9613-1:1993, equations 3 to 5 (from memory). Piston: L. L. Beranek, "Acoustics" (from
memory).
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from scipy import fft, special

from analysis.basics.arrays import Complex, Float
from benchmarks.loudspeakers import Loudspeaker, Pair, driver_functions
from benchmarks.rooms import Layout, furniture

TWEETER_RADIUS_M, WOOFER_RADIUS_M = 0.0125, 0.065
HIGHEST_ORDER = 2


@dataclass(frozen=True, kw_only=True, slots=True)
class Mounting:
    """How the drivers of a pair stand.

    Attributes
    ----------
    woofer_below_m : float
        From the tweeter's centre down to the woofer's.
    aims_deg : tuple of float or None
        Of left and right, from straight ahead inwards; None: both at the seat.
    beaming : bool
        Pistons; else drivers radiate alike in all directions.
    air : bool
        Air absorbs.
    """

    woofer_below_m: float = 0.0
    aims_deg: tuple[float, float] | None = None
    beaming: bool = True
    air: bool = True


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class PairSpectra:
    """Both sides' spectra at the microphone, index 0 = left.

    Attributes
    ----------
    heard, free : ndarray of complex, shape (2, n_fft // 2 + 1)
        With the room, and without.
    """

    frequency_hz: Float
    heard: Complex
    free: Complex
    n_fft: int

    def impulses(self, n_samples: int) -> Float:
        """Return what is heard, shape (2, n_samples); index 0 is the moment of emission."""
        return np.asarray(fft.irfft(self.heard, self.n_fft)[:, :n_samples])


def pair_spectra(
    layout: Layout, pair: Pair, mounting: Mounting, *, sample_rate_hz: float, duration_s: float
) -> PairSpectra:
    """Return what a pair of two-way loudspeakers sends to the microphone.

    Parameters
    ----------
    duration_s : float
        Length of the transform's period; what the room sends later is left out.
    """
    n_fft = fft.next_fast_len(math.ceil(duration_s * sample_rate_hz), real=True)
    frequency_hz = fft.rfftfreq(n_fft, 1 / sample_rate_hz)
    heard, free = [], []
    for side in range(2):
        direct, room = _side_spectra(layout, pair, mounting, side, frequency_hz, 0.9 * duration_s)
        echoes = (layout.left_echoes, layout.right_echoes)[side]
        heard.append((direct + room) * furniture(echoes, frequency_hz))
        free.append(direct)
    return PairSpectra(
        frequency_hz=frequency_hz, heard=np.array(heard), free=np.array(free), n_fft=n_fft
    )


def _side_spectra(
    layout: Layout,
    pair: Pair,
    mounting: Mounting,
    side: int,
    frequency_hz: Float,
    longest_s: float,
) -> tuple[Complex, Complex]:
    """Return one side's direct sound and what its room adds."""
    place = np.array((layout.left_m, layout.right_m)[side])
    box: Loudspeaker = (pair.left, pair.right)[side]
    drivers = (
        (place - [0, 0, mounting.woofer_below_m], WOOFER_RADIUS_M),
        (place, TWEETER_RADIUS_M),
    )
    axis = _axis(layout, mounting, side)
    totals = [np.zeros(frequency_hz.size, dtype=complex) for _ in range(2)]
    for function, (source, radius_m) in zip(
        driver_functions(box, frequency_hz), drivers, strict=True
    ):
        for order, gain, image, turned in _images(layout, source, axis):
            path = np.array(layout.seat_m) - image
            distance_m = float(np.linalg.norm(path))
            if distance_m > longest_s * layout.speed_of_sound_m_s:
                continue
            delay = np.exp(-2j * np.pi * frequency_hz * distance_m / layout.speed_of_sound_m_s)
            sent = function * gain / distance_m * delay
            if mounting.beaming:
                sent = sent * beam(frequency_hz, radius_m, float(turned @ path) / distance_m)
            if mounting.air:
                sent = sent * 10 ** (-absorption_db_m(frequency_hz) * distance_m / 20)
            totals[min(order, 1)] += sent
    return totals[0], totals[1]


def _axis(layout: Layout, mounting: Mounting, side: int) -> Float:
    """Return the unit vector in which a loudspeaker points, level."""
    if mounting.aims_deg is None:
        across, along, _ = np.array(layout.seat_m) - (layout.left_m, layout.right_m)[side]
        return np.array([across, along, 0.0]) / math.hypot(across, along)
    inward = math.radians(mounting.aims_deg[side]) * (1 if side == 0 else -1)
    return np.array([math.sin(inward), math.cos(inward), 0.0])


def _images(layout: Layout, source: Float, axis: Float) -> list[tuple[int, float, Float, Float]]:
    """Return each image's order, pressure gain, place, and direction of its axis."""
    walls = [math.sqrt(1 - share) for share in layout.absorption]
    along = []
    for k in range(3):
        size_m, low, high = layout.size_m[k], walls[2 * k], walls[2 * k + 1]
        along.append(
            [
                (0, 1.0, source[k], axis[k]),
                (1, low, -source[k], -axis[k]),
                (1, high, 2 * size_m - source[k], -axis[k]),
                (2, low * high, source[k] + 2 * size_m, axis[k]),
                (2, low * high, source[k] - 2 * size_m, axis[k]),
            ]
        )
    found = []
    for chosen in itertools.product(*along):
        order = sum(one[0] for one in chosen)
        if order <= HIGHEST_ORDER:
            gain = math.prod(one[1] for one in chosen)
            place, turned = (np.array([one[i] for one in chosen]) for i in (2, 3))
            found.append((order, gain, place, turned))
    return found


def beam(frequency_hz: Float, radius_m: float, cosine: float) -> Float:
    """Return a piston's pressure off its axis over that on it.

    Examples
    --------
    On the axis all of it; at its first null, ka sin(theta) = 3.832, nothing:

    >>> beam(np.array([1000.0]), 0.01, 1.0).tolist()
    [1.0]
    >>> null_hz = 3.8317 * 343.2 / (2 * np.pi * 0.1)
    >>> bool(abs(beam(np.array([null_hz]), 0.1, 0.0)[0]) < 1e-4)
    True
    """
    sine = math.sqrt(max(1 - max(cosine, 0.0) ** 2, 0.0))
    x = 2 * np.pi * frequency_hz * radius_m * sine / 343.2
    return np.where(x > 1e-6, 2 * special.j1(x) / np.maximum(x, 1e-6), 1.0)


def absorption_db_m(frequency_hz: Float) -> Float:
    """Return what a metre of air takes, in dB, at 20 degrees C, 50 % humidity and 1 atm.

    Examples
    --------
    The standard's table has 4.66 dB/km at 1 kHz and 104 dB/km at 8 kHz for these:

    >>> np.round(1e3 * absorption_db_m(np.array([1000.0, 8000.0]))).tolist()
    [5.0, 105.0]
    """
    kelvin = 293.15
    saturation = 10 ** (-6.8346 * (273.16 / kelvin) ** 1.261 + 4.6151)
    water = 50.0 * saturation
    oxygen_hz = 24 + 4.04e4 * water * (0.02 + water) / (0.391 + water)
    nitrogen_hz = 9 + 280 * water
    f2 = frequency_hz**2
    relaxing = 0.01275 * math.exp(-2239.1 / kelvin) / (oxygen_hz + f2 / oxygen_hz)
    relaxing = relaxing + 0.1068 * math.exp(-3352.0 / kelvin) / (nitrogen_hz + f2 / nitrogen_hz)
    return np.asarray(8.686 * f2 * (1.84e-11 + relaxing))
