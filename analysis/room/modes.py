r"""Modes of a rectangular room with rigid walls.

Conventions: the three indices of a mode count the half waves along the **length, the
width and the height, in this order**, as mode tables print them; (1, 0, 0) is the
first mode between front and rear wall. This is the only place that fixes the order.
Coordinates are those of `analysis.room.room`. The last axis of an array runs over modes.

.. math::

    f_{lmn} = \frac{c}{2} \sqrt{(l/L)^2 + (m/W)^2 + (n/H)^2}, \qquad
    \psi_{lmn} = \cos\frac{l \pi y}{L} \cos\frac{m \pi x}{W} \cos\frac{n \pi z}{H}.

A monopole at :math:`s` drives mode :math:`n` at a seat :math:`r` in proportion to
:math:`\varepsilon_n \psi_n(s) \psi_n(r)`, with :math:`\varepsilon_n` = 1, 2, 4 or 8 for
none, one, two or three non-zero indices (the norm of the shape).

References
----------
Lord Rayleigh, "The Theory of Sound", vol. 2; H. Kuttruff, "Room Acoustics", 5th ed.,
secs. 3.1 and 3.2 (second-hand).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from analysis.basics.arrays import Float, freeze
from analysis.room.room import Point, Room

Indices = NDArray[np.int64]
ModeKind = Literal["axial", "tangential", "oblique"]

KINDS: Final[tuple[ModeKind, ...]] = ("axial", "tangential", "oblique")

MOST_MODES: Final = 200_000
"""More than this is a wrong frequency limit, not a bass question."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Modes:
    """Modes of a room, by rising frequency.

    Attributes
    ----------
    room : Room
    frequency_hz : ndarray, shape (n,)
    indices : ndarray of int, shape (n, 3)
        Half waves along length, width and height.
    """

    room: Room
    frequency_hz: Float
    indices: Indices

    def __post_init__(self) -> None:
        object.__setattr__(self, "frequency_hz", freeze(self.frequency_hz, name="frequency_hz"))
        indices = np.array(self.indices, dtype=np.int64)
        if indices.shape != (self.frequency_hz.size, 3):
            msg = f"indices of shape {indices.shape} must be ({self.frequency_hz.size}, 3)"
            raise ValueError(msg)
        indices.flags.writeable = False
        object.__setattr__(self, "indices", indices)

    @property
    def n_directions(self) -> Indices:
        """Number of non-zero indices of each mode, 1 to 3, shape (n,)."""
        return np.asarray(np.count_nonzero(self.indices, axis=1))

    @property
    def kinds(self) -> tuple[ModeKind, ...]:
        """``axial``, ``tangential`` or ``oblique`` for 1, 2 or 3 non-zero indices."""
        return tuple(KINDS[count - 1] for count in self.n_directions)

    @property
    def spacing_hz(self) -> Float:
        """Distance from each mode to the next one up, in Hz, shape (n - 1,)."""
        return np.diff(self.frequency_hz)

    def shape_at(self, point: Point) -> Float:
        """Return the pressure shape of each mode at a point, -1 to 1, shape (n,)."""
        place = np.array([point.y_m, point.x_m, point.z_m])
        size = np.array([self.room.length_m, self.room.width_m, self.room.height_m])
        return np.asarray(np.prod(np.cos(np.pi * self.indices * (place / size)), axis=1))

    def drive(self, sources: tuple[Point, ...]) -> Float:
        """Return the mean shape at sources that play the same signal, -1 to 1, shape (n,).

        A pair that stands symmetrically about the middle of the width doesn't drive
        the modes whose width index is odd.
        """
        return np.asarray(np.mean([self.shape_at(point) for point in sources], axis=0))

    def coupling(self, sources: tuple[Point, ...], seat: Point) -> Float:
        """Return drive at the sources times shape at the seat, -1 to 1, shape (n,)."""
        return self.drive(sources) * self.shape_at(seat)

    def strength(self, sources: tuple[Point, ...], seat: Point) -> Float:
        """Return the coupling times the factor 2, 4 or 8 of the shape's norm, shape (n,)."""
        return self.coupling(sources, seat) * 2.0**self.n_directions


def modes_below(room: Room, highest_hz: float, *, speed_of_sound_m_s: float) -> Modes:
    """Return all modes up to a frequency, the uniform pressure at 0 Hz left out.

    Parameters
    ----------
    room : Room
    highest_hz : float
        In Hz, at least 0.
    speed_of_sound_m_s : float

    Returns
    -------
    Modes
        By rising frequency; ties in the order of the indices.

    Raises
    ------
    ValueError
        If the limit is negative, or there would be more than `MOST_MODES`.
    """
    if not 0 <= highest_hz < math.inf:
        msg = f"highest_hz {highest_hz} must be a number of at least 0"
        raise ValueError(msg)
    expected = asymptotic_count(room, highest_hz, speed_of_sound_m_s=speed_of_sound_m_s)
    if expected > MOST_MODES:
        msg = f"highest_hz {highest_hz} means {expected:.0f} modes; at most {MOST_MODES}"
        raise ValueError(msg)
    per_half_wave_hz = speed_of_sound_m_s / (
        2 * np.array([room.length_m, room.width_m, room.height_m])
    )
    axes = [np.arange(math.floor(highest_hz / step) + 1) for step in per_half_wave_hz]
    indices = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
    frequency = np.sqrt(np.sum((indices * per_half_wave_hz) ** 2, axis=1))
    inside = (frequency <= highest_hz) & (frequency > 0)
    frequency, indices = frequency[inside], indices[inside]
    order = np.argsort(frequency, kind="stable")
    return Modes(room=room, frequency_hz=frequency[order], indices=indices[order])


def asymptotic_count(room: Room, frequency_hz: float, *, speed_of_sound_m_s: float) -> float:
    r"""Return the smoothed number of modes below a frequency.

    Parameters
    ----------
    room : Room
    frequency_hz : float
    speed_of_sound_m_s : float

    Returns
    -------
    float

    Notes
    -----
    .. math:: N = \frac{4\pi}{3} V (f/c)^3 + \frac{\pi}{4} S (f/c)^2 + \frac{L}{8} (f/c)

    with volume V, surface S and the length L of all edges (Kuttruff; Maa 1939;
    coefficients from memory). It runs through the middle of the staircase of the exact
    count.
    """
    per_metre = frequency_hz / speed_of_sound_m_s
    return (
        4 * math.pi / 3 * room.volume_m3 * per_metre**3
        + math.pi / 4 * room.surface_m2 * per_metre**2
        + room.edges_m / 8 * per_metre
    )


def half_power_width_hz(decay_s: float) -> float:
    r"""Return the half-power width of a mode that decays by 60 dB in a time.

    Parameters
    ----------
    decay_s : float
        Above 0, in seconds.

    Returns
    -------
    float
        :math:`\delta/\pi = 3 \ln 10 / (\pi T) = 2.2/T`, in Hz (Kuttruff; derived).

    Raises
    ------
    ValueError
        If the time isn't above 0.
    """
    if not decay_s > 0:
        msg = f"decay_s {decay_s} must lie above 0"
        raise ValueError(msg)
    return 3 * math.log(10) / (math.pi * decay_s)
