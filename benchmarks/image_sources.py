r"""The response of a box by its mirror images, a method independent of modes.

Conventions: those of `analysis.placement.response.room_response`: a free field has
:math:`e^{-jkr}/(4\pi r)`. Each surface reflects the pressure by :math:`R = \sqrt{1 - \alpha}`
at all angles and frequencies; besides, all sound may decay alike, as :math:`e^{-\delta t}`,
which the modal sum can match exactly.

References
----------
J. B. Allen, D. A. Berkley, "Image method for efficiently simulating small-room acoustics",
J. Acoust. Soc. Am. 65(4), 943-950, 1979.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from scipy import fft

from analysis.basics.arrays import Complex, Float
from analysis.room.room import Point, Room

RATE_HZ: Final = 16_000.0
"""Images are laid on a grid of time this fine; to 300 Hz straight lines between its points
are off by 0.1 %, which is taken out."""


def image_pressure(
    room: Room,
    source: Point,
    seat: Point,
    frequency_hz: Float,
    *,
    speed_of_sound_m_s: float,
    duration_s: float,
    damping_per_s: float = 0.0,
) -> Complex:
    """Return the pressure at a seat by all images heard within a time.

    Parameters
    ----------
    room : Room
        Its absorption gives the reflections; to have none lost, set all to 0.
    source, seat : Point
    frequency_hz : ndarray, shape (f,)
    speed_of_sound_m_s : float
    duration_s : float
        Long enough for the sound to decay: 60 dB where it is cut off.
    damping_per_s : float
        Common decay beside the surfaces'.

    Returns
    -------
    ndarray of complex, shape (f,)
    """
    reach_m = duration_s * speed_of_sound_m_s
    axes = [_axis(room, k, source.array[k], seat.array[k], reach_m) for k in range(3)]
    n_samples = math.ceil(duration_s * RATE_HZ) + 2
    samples = np.zeros(n_samples)
    for x_m, gain in zip(*axes[0], strict=True):
        away2 = x_m**2 + axes[1][0][:, np.newaxis] ** 2 + axes[2][0] ** 2
        gains = gain * axes[1][1][:, np.newaxis] * axes[2][1]
        near = away2 < reach_m**2
        distance_m = np.sqrt(away2[near])
        time_s = distance_m / speed_of_sound_m_s
        size = gains[near] * np.exp(-damping_per_s * time_s) / (4 * np.pi * distance_m)
        at = time_s * RATE_HZ
        first = at.astype(np.int64)
        share = at - first
        samples += np.bincount(first, size * (1 - share), n_samples)
        samples += np.bincount(first + 1, size * share, n_samples)
    n_fft = fft.next_fast_len(4 * n_samples, real=True)
    bins_hz = fft.rfftfreq(n_fft, 1 / RATE_HZ)
    spectrum = fft.rfft(samples, n_fft)
    spectrum = spectrum / np.sinc(bins_hz / RATE_HZ) ** 2  # what straight lines took
    return np.asarray(
        np.interp(frequency_hz, bins_hz, spectrum.real)
        + 1j * np.interp(frequency_hz, bins_hz, spectrum.imag)
    )


def _axis(
    room: Room, axis: int, source_m: float, seat_m: float, reach_m: float
) -> tuple[Float, Float]:
    """Return where the images stand along one axis from the seat, and what walls leave."""
    size_m = float(room.size_m[axis])
    near, far = (("left", "right"), ("front", "rear"), ("floor", "ceiling"))[axis]
    r_near = math.sqrt(1 - room.absorption_of(near))
    r_far = math.sqrt(1 - room.absorption_of(far))
    n = np.arange(-math.ceil(reach_m / (2 * size_m)) - 1, math.ceil(reach_m / (2 * size_m)) + 2)
    same = 2 * n * size_m + source_m - seat_m
    turned = 2 * n * size_m - source_m - seat_m
    count = np.abs(n).astype(float)
    gain_same = (r_near * r_far) ** count
    gain_turned = r_near ** np.abs(n - 1.0) * r_far**count
    place, gain = np.concatenate([same, turned]), np.concatenate([gain_same, gain_turned])
    kept = np.abs(place) < reach_m
    return place[kept], gain[kept]
