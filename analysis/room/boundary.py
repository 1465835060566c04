r"""Cancellation at the seat by the reflection from one surface.

Conventions: those of `analysis.room.room`. The *extra path* is what the reflected sound
travels more than the direct one, :math:`d = r_i - r_d`, with :math:`r_d` the distance
from loudspeaker to seat and :math:`r_i` that from its mirror image. A surface that
keeps the share :math:`\alpha` of the energy reflects the pressure by
:math:`R = \sqrt{1 - \alpha}` in phase, so the sum cancels where the extra path is an
odd number of half waves:

.. math::

    f_k = \frac{(2k - 1)\,c}{2 d}, \qquad
    \text{depth} = 20 \log_{10}\left(1 - R\,\frac{r_d}{r_i}\right) \; \mathrm{dB}.

The common shorthand, a quarter wave between loudspeaker and wall, is the limit of a
far seat on the axis. It is kept beside each result for comparison only.

References
----------
Mirror-image geometry (closed form); the quarter-wave rule is handbook lore. A
different quantity is the *power* that a loudspeaker gives off near walls: R. Allison,
"The influence of room boundaries on loudspeaker power output", JAES 22(5), 1974
(second-hand).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.basics.air import Air
from analysis.basics.decibel import amplitude_db
from analysis.room.room import SOURCE_OR_SEAT_STD_M, SURFACES, Point, Room, Surface

HIGHEST_HZ: Final = 300.0
"""Later cancellations of a surface are listed up to here, the end of the bass curves."""

_LEAST_EXTRA_PATH_M: Final = 1e-3
"""With less extra path than this the first cancellation lies beyond hearing: none is given."""

_AXIS: Final[dict[Surface, int]] = {
    "left": 0,
    "right": 0,
    "front": 1,
    "rear": 1,
    "floor": 2,
    "ceiling": 2,
}


@dataclass(frozen=True, kw_only=True, slots=True)
class Cancellation:
    """One frequency at which one surface works against the direct sound.

    Attributes
    ----------
    surface : str
    order : int
        1 for the first cancellation of the surface, 2 for the next.
    frequency_hz : float
    frequency_std_hz : float
        One sigma, from the air and from the places of loudspeaker, seat and surface.
    depth_db : float
        Level against the direct sound alone, below 0.
    direct_m, extra_path_m : float
        Direct path, and what the reflected one is longer, in metres.
    reflection : float
        Reflected over arriving pressure, 0 to 1.
    quarter_wave_hz : float
        What the quarter-wave shorthand would say, infinite on the surface itself.
    """

    surface: str
    order: int
    frequency_hz: float
    frequency_std_hz: float
    depth_db: float
    direct_m: float
    extra_path_m: float
    reflection: float
    quarter_wave_hz: float


def image_of(room: Room, point: Point, surface: Surface) -> Point:
    """Return the mirror image of a point in a surface."""
    place = point.array
    axis = _AXIS[surface]
    place[axis] = 2 * _offset_m(room, surface) - place[axis]
    return Point(x_m=float(place[0]), y_m=float(place[1]), z_m=float(place[2]))


def cancellations(
    room: Room,
    source: Point,
    seat: Point,
    *,
    air: Air,
    position_std_m: float = SOURCE_OR_SEAT_STD_M,
    highest_hz: float = HIGHEST_HZ,
) -> tuple[Cancellation, ...]:
    """Return the cancellations of every surface at the seat, for one loudspeaker.

    Parameters
    ----------
    room : Room
    source : Point
        Where the loudspeaker's bass comes from.
    seat : Point
    air : Air
    position_std_m : float
        One sigma of each coordinate of source, seat and far surfaces, in metres.
    highest_hz : float
        Beyond the first, those up to here are given.

    Returns
    -------
    tuple of Cancellation
        By rising frequency; the first of each surface wherever it lies. A surface that
        the loudspeaker or the seat touches has none.

    Raises
    ------
    ValueError
        If source and seat coincide, or one is outside the room.
    """
    for name, point in (("source", source), ("seat", seat)):
        if not room.holds(point):
            msg = f"{name} {point} must lie inside the room"
            raise ValueError(msg)
    if source.distance_m(seat) == 0:
        msg = f"source {source} must stand apart from the seat"
        raise ValueError(msg)
    found = [
        one
        for surface in SURFACES
        for one in _of_surface(room, source, seat, surface, air, position_std_m, highest_hz)
    ]
    return tuple(sorted(found, key=lambda one: one.frequency_hz))


@dataclass(frozen=True, kw_only=True, slots=True)
class MirrorPath:
    """Direct and reflected path from a loudspeaker to the seat.

    Attributes
    ----------
    direct_m, image_m : float
    reflection : float
        Reflected over arriving pressure, 0 to 1; 0 where no reflected path exists.
    """

    direct_m: float
    image_m: float
    reflection: float


def mirror_paths(room: Room, source: Point, seat: Point) -> dict[str, MirrorPath]:
    """Return the path by each surface of a room."""
    return {
        surface: MirrorPath(
            direct_m=source.distance_m(seat),
            image_m=image_of(room, source, surface).distance_m(seat),
            reflection=math.sqrt(1 - room.absorption_of(surface)),
        )
        for surface in SURFACES
    }


def power_taken(
    paths: Sequence[MirrorPath],
    *,
    frequency_hz: float,
    speed_of_sound_m_s: float,
    mean_absorption: float,
    surface_m2: float,
) -> float:
    r"""Return which share of the mean square at the seat one reflection takes away.

    Parameters
    ----------
    paths : sequence of MirrorPath
        By one surface, from loudspeakers that play the same signal.
    frequency_hz : float
    speed_of_sound_m_s : float
    mean_absorption : float
        Of all surfaces, above 0.
    surface_m2 : float
        Of all surfaces.

    Returns
    -------
    float
        Up to 1 for silence; negative where the reflection adds.

    Notes
    -----
    With :math:`d` and :math:`i` the sums over the sources of direct and reflected sound,
    :math:`e^{-\mathrm{j}kr}/r`, and :math:`q = 16\pi(1 - \bar\alpha)/(\bar\alpha S)` a source's
    mean square of reverberant sound in the same scale (a diffuse field, with the mean
    absorption that the reverberation time means by Eyring's law),

    .. math:: 1 - \frac{|d + R i|^2 + q}{|d|^2 + R^2 |i|^2 + q}.

    A diffuse field is a rough guide in the bass; it tells a live room, where the rest
    of the sound fills a cancellation, from a dead one.
    """
    wavenumber = 2 * math.pi * frequency_hz / speed_of_sound_m_s
    direct_m = np.array([path.direct_m for path in paths])
    image_m = np.array([path.image_m for path in paths])
    reflection = np.array([path.reflection for path in paths])
    direct = np.sum(np.exp(-1j * wavenumber * direct_m) / direct_m)
    image = np.sum(reflection * np.exp(-1j * wavenumber * image_m) / image_m)
    kept = mean_absorption
    reverberant = len(paths) * 16 * math.pi * (1 - kept) / (kept * surface_m2)
    random = np.abs(direct) ** 2 + np.abs(image) ** 2 + reverberant
    return float(1 - (np.abs(direct + image) ** 2 + reverberant) / random)


def _offset_m(room: Room, surface: Surface) -> float:
    """Return where a surface stands on its axis, in metres."""
    near = surface in ("left", "front", "floor")
    return 0.0 if near else float(room.size_m[_AXIS[surface]])


def _of_surface(
    room: Room,
    source: Point,
    seat: Point,
    surface: Surface,
    air: Air,
    position_std_m: float,
    highest_hz: float,
) -> list[Cancellation]:
    """Return the cancellations of one surface, the first and those up to the limit."""
    direct_m = source.distance_m(seat)
    image_m = image_of(room, source, surface).distance_m(seat)
    extra_m = image_m - direct_m
    if extra_m < _LEAST_EXTRA_PATH_M:
        return []
    c = air.speed_of_sound_m_s
    relative_std = math.hypot(
        air.speed_of_sound_std_m_s / c,
        position_std_m * _path_slope(room, source, seat, surface) / extra_m,
    )
    reflection = math.sqrt(1 - room.absorption_of(surface))
    gap_m = abs(_offset_m(room, surface) - float(source.array[_AXIS[surface]]))
    n_orders = max(1, math.floor(highest_hz * extra_m / c + 0.5))
    frequencies = [(2 * order - 1) * c / (2 * extra_m) for order in range(1, n_orders + 1)]
    return [
        Cancellation(
            surface=surface,
            order=order,
            frequency_hz=frequency_hz,
            frequency_std_hz=frequency_hz * relative_std,
            depth_db=float(amplitude_db(1 - reflection * direct_m / image_m)),
            direct_m=direct_m,
            extra_path_m=extra_m,
            reflection=reflection,
            quarter_wave_hz=(2 * order - 1) * c / (4 * gap_m) if gap_m > 0 else math.inf,
        )
        for order, frequency_hz in enumerate(frequencies, start=1)
    ]


def _path_slope(room: Room, source: Point, seat: Point, surface: Surface) -> float:
    """Return how the extra path spreads per metre of spread in each coordinate.

    The root of the squared slopes along the coordinates of source and seat, and along
    the place of a far surface; near ones are where the tape starts.
    """
    axis = _AXIS[surface]
    to_source = (source.array - seat.array) / source.distance_m(seat)
    image = image_of(room, source, surface)
    to_image = (image.array - seat.array) / image.distance_m(seat)
    mirrored = to_image.copy()
    mirrored[axis] = -mirrored[axis]
    squares = np.sum((mirrored - to_source) ** 2) + np.sum((to_source - to_image) ** 2)
    if _offset_m(room, surface) > 0:
        squares += (2 * to_image[axis]) ** 2
    return float(np.sqrt(squares))
