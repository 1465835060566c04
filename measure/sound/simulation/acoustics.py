r"""What the simulated room does to a loudspeaker's signal on its way to the microphone.

Conventions: those of `analysis.room.room`; the response starts at the moment of emission, and a
loudspeaker without filters at 1 m has a gain of 1. The room is a box; a response is

- the direct sound and all reflections of the first `EARLY_S`, by image sources,
- after that, below `DIFFUSE_FROM_HZ` image sources still, so that the room's modes are
  those of its size, and above it noise with the mean energy of those images,

.. math:: \overline{h^2}(t) = \frac{4 \pi c}{V} \, 10^{-6 t / T} ,

filtered by the loudspeaker. Reflections leave it sideways or backwards and carry less
treble: `_OFF_AXIS_DB` above `_OFF_AXIS_HZ`.

References
----------
J. B. Allen, D. A. Berkley, "Image method for efficiently simulating small-room
acoustics", J. Acoust. Soc. Am. 65(4), 943-950, 1979.
H. Kuttruff, "Room Acoustics", 5th ed.: how many images there are by a time, Eyring's decay
(from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import fft

from analysis.basics.arrays import Complex, Float
from analysis.room.reverberation import eyring_time_s
from analysis.room.room import Point, Room
from measure.sound.simulation.fractional_delay import pulses

EARLY_S: Final = 0.06
"""Some 800 images in a living room; by then reflections are dense above the bass."""

DIFFUSE_FROM_HZ: Final = 300.0
"""Above this the late part is noise: twice where modes overlap in a living room."""

LONGEST_S: Final = 1.0

_BLEND_OCTAVES: Final = 0.5
_OFF_AXIS_HZ: Final = 1500.0
_OFF_AXIS_DB: Final = -6.0
"""A small box's sound to all sides against the one on its axis. Common practice, no source."""

_AXES: Final[tuple[tuple[str, str], ...]] = (
    ("left", "right"),
    ("front", "rear"),
    ("floor", "ceiling"),
)
"""The surfaces at 0 and at the end of x, y and z."""


@dataclass(frozen=True, kw_only=True, slots=True)
class SimulatedLoudspeaker:
    """A small closed box, invented: minimum phase, and no delay of its own.

    Attributes
    ----------
    low_corner_hz, low_q : float
        Second-order roll-off towards the bass.
    top_hz : float
        Corner of the second-order roll-off of the treble.
    bells : tuple of (float, float, float)
        Frequency in Hz, gain in dB, Q.
    gain_db : float
    inverted : bool
        Wired the wrong way round.
    """

    low_corner_hz: float = 48.0
    low_q: float = 0.75
    top_hz: float = 26_000.0
    bells: tuple[tuple[float, float, float], ...] = ()
    gain_db: float = 0.0
    inverted: bool = False

    def transfer(self, frequency_hz: Float) -> Complex:
        """Return the complex gain at each frequency."""
        s = 1j * frequency_hz
        response = s**2 / (s**2 + s * self.low_corner_hz / self.low_q + self.low_corner_hz**2)
        top = s / self.top_hz
        response /= 1 + math.sqrt(2) * top + top**2
        for bell_hz, gain_db, q in self.bells:
            p, a = s / bell_hz, 10 ** (gain_db / 40)
            response *= (p**2 + p * a / q + 1) / (p**2 + p / (a * q) + 1)
        gain = 10 ** (self.gain_db / 20) * (-1 if self.inverted else 1)
        return np.asarray(gain * response)


def image_sources(
    room: Room, source: Point, seat: Point, *, longest_m: float
) -> tuple[Float, Float]:
    r"""Return the source and its mirror images in the surfaces.

    Parameters
    ----------
    room : Room
    source, seat : Point
    longest_m : float
        Only images so near to the seat.

    Returns
    -------
    distance_m : ndarray, shape (n,)
        To the seat; the source itself comes first.
    gain : ndarray, shape (n,)
        Product of the pressure reflection factors on the way, over the distance.

    Notes
    -----
    Along each axis of length *L* the images of *s* stand at :math:`(1 - 2p) s + 2 m L` for
    *p* = 0, 1 and whole *m*; their sound has met the surface at 0 :math:`|m - p|` times and
    the other one :math:`|m|` times (Allen and Berkley 1979, eqs. 6 to 10, written anew).
    A surface reflects :math:`\sqrt{1 - \alpha}` of the pressure, at all frequencies alike.
    """
    squared_m2, factor = np.zeros(1), np.ones(1)
    for axis, names in enumerate(_AXES):
        away_m, factors = _images_along(
            float(room.size_m[axis]),
            float(source.array[axis]),
            float(seat.array[axis]),
            tuple(math.sqrt(1 - room.absorption_of(name)) for name in names),
            longest_m,
        )
        squared_m2 = np.add.outer(squared_m2, away_m**2).ravel()
        factor = np.multiply.outer(factor, factors).ravel()
        near = squared_m2 <= longest_m**2
        squared_m2, factor = squared_m2[near], factor[near]
    distance_m = np.sqrt(squared_m2)
    return distance_m, factor / distance_m


def _images_along(
    length_m: float, source_m: float, seat_m: float, reflects: tuple[float, ...], longest_m: float
) -> tuple[Float, Float]:
    """Return how far the images along one axis are, and the product of their reflections.

    The source itself comes first.
    """
    most = math.ceil(longest_m / (2 * length_m)) + 1
    m = np.concatenate((np.arange(most + 1), np.arange(-most, 0)))
    places = [(1 - 2 * p) * source_m + 2 * m * length_m for p in (0, 1)]
    factors = [reflects[0] ** np.abs(m - p) * reflects[1] ** np.abs(m) for p in (0, 1)]
    return np.concatenate(places) - seat_m, np.concatenate(factors)


class SimulatedAcoustics:
    """The responses from one loudspeaker, which may be moved, to the seat.

    Parameters
    ----------
    room : Room
    loudspeaker : SimulatedLoudspeaker
    at : Point
        Where it stands at first.
    seat : Point
    sample_rate_hz : int
    speed_of_sound_m_s : float
    rng : numpy.random.Generator
        Draws the diffuse part, which stays when the loudspeaker is moved.

    Attributes
    ----------
    n_samples : int
        Length of a response.
    """

    def __init__(
        self,
        room: Room,
        loudspeaker: SimulatedLoudspeaker,
        *,
        at: Point,
        seat: Point,
        sample_rate_hz: int,
        speed_of_sound_m_s: float,
        rng: np.random.Generator,
    ) -> None:
        self._room, self._at, self._seat = room, at, seat
        self._rate_hz, self._speed_m_s = sample_rate_hz, speed_of_sound_m_s
        decay_s = eyring_time_s(
            room.mean_absorption,
            volume_m3=room.volume_m3,
            surface_m2=room.surface_m2,
            speed_of_sound_m_s=speed_of_sound_m_s,
        )
        self._decay_s = decay_s
        self.n_samples = round(min(decay_s + EARLY_S, LONGEST_S) * sample_rate_hz)
        # Room behind, so that what rings before the start and after the end doesn't wrap.
        self._n_fft = fft.next_fast_len(math.ceil(1.2 * self.n_samples), real=True)
        frequency_hz = fft.rfftfreq(self._n_fft, 1 / sample_rate_hz)
        self._direct = loudspeaker.transfer(frequency_hz)
        self._reflected = self._direct * _off_axis(frequency_hz)
        self._late = self._reflected * self._late_spectrum(frequency_hz, rng)

    @property
    def distance_m(self) -> float:
        """From where it stands at first to the seat."""
        return self._at.distance_m(self._seat)

    def response(self, *, away_m: float = 0.0) -> Float:
        """Return the response with the loudspeaker moved along the line from the seat.

        Parameters
        ----------
        away_m : float
            From where it stood at first, positive away from the seat.

        Returns
        -------
        ndarray, shape (n_samples,)
        """
        distance_m, gain = image_sources(
            self._room,
            self._position_after(away_m),
            self._seat,
            longest_m=EARLY_S * self._speed_m_s,
        )
        delay = distance_m / self._speed_m_s * self._rate_hz
        n_early = round(EARLY_S * self._rate_hz)
        early = np.array(
            [
                pulses(delay[:1], gain[:1], n_early),
                pulses(delay[1:], gain[1:], n_early),
            ]
        )
        spectrum = fft.rfft(early, self._n_fft)
        spectrum = spectrum[0] * self._direct + spectrum[1] * self._reflected + self._late
        return np.asarray(fft.irfft(spectrum, self._n_fft)[: self.n_samples])

    def _position_after(self, away_m: float) -> Point:
        """Return where the loudspeaker stands after a move."""
        from_seat = self._at.array - self._seat.array
        x_m, y_m, z_m = self._seat.array + from_seat * (1 + away_m / self.distance_m)
        return Point(x_m=float(x_m), y_m=float(y_m), z_m=float(z_m))

    def _late_spectrum(self, frequency_hz: Float, rng: np.random.Generator) -> Complex:
        """Return the spectrum of what comes after the early part."""
        diffuse = _blend(frequency_hz)
        images = fft.rfft(self._late_images(), self._n_fft)
        noise = fft.rfft(self._noise(rng), self._n_fft)
        return np.asarray((1 - diffuse) * images + diffuse * noise)

    def _noise(self, rng: np.random.Generator) -> Float:
        """Return noise that decays as the images' energy does."""
        if self._decay_s == 0:
            return np.zeros(self.n_samples)
        time_s = np.arange(self.n_samples) / self._rate_hz
        per_s = 4 * np.pi * self._speed_m_s / self._room.volume_m3
        variance = per_s / self._rate_hz * 10 ** (-6 * time_s / self._decay_s)
        noise = np.sqrt(variance) * rng.standard_normal(self.n_samples)
        noise[time_s < EARLY_S] = 0
        return np.asarray(noise)

    def _late_images(self) -> Float:
        """Return the late images, each on the nearest sample: only their bass is used."""
        longest_m = self.n_samples / self._rate_hz * self._speed_m_s
        distance_m, gain = image_sources(self._room, self._at, self._seat, longest_m=longest_m)
        at = np.rint(distance_m / self._speed_m_s * self._rate_hz).astype(np.intp)
        late = (at >= EARLY_S * self._rate_hz) & (at < self.n_samples)
        images: Float = np.bincount(at[late], gain[late], minlength=self.n_samples).astype(float)
        return images


def _blend(frequency_hz: Float) -> Float:
    """Return the share of noise in the late part, a raised cosine over the octaves."""
    octaves = np.log2(np.maximum(frequency_hz, 1.0) / DIFFUSE_FROM_HZ) / _BLEND_OCTAVES
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * np.clip(octaves + 0.5, 0, 1)))


def _off_axis(frequency_hz: Float) -> Complex:
    """Return a first-order shelf, minimum phase."""
    ratio = 10 ** (_OFF_AXIS_DB / 20)
    s = 1j * frequency_hz / _OFF_AXIS_HZ
    root = math.sqrt(ratio)
    return np.asarray((1 + s * root) / (1 + s / root))
