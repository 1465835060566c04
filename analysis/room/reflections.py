r"""What each surface of a room does to the direct sound, by its mirror image.

Conventions: those of `analysis.room.room`. The *extra path* is what the reflected sound travels
more than the direct one, :math:`d = r_i - r_d`, with :math:`r_d` the distance from loudspeaker to
seat and :math:`r_i` that from its mirror image. A surface that keeps the share :math:`\alpha` of
the energy reflects the pressure by :math:`R = \sqrt{1 - \alpha}` in phase. What reaches the seat
by one surface alone is

.. math:: \frac{e^{-\mathrm{j}kr_d}}{r_d} + R\,\frac{e^{-\mathrm{j}kr_i}}{r_i},

given in dB against the direct sound. It cancels where the extra path is an odd number of half
waves:

.. math::

    f_k = \frac{(2k - 1)\,c}{2 d}, \qquad
    \text{depth} = 20 \log_{10}\left(1 - R\,\frac{r_d}{r_i}\right) \; \mathrm{dB}.

The common shorthand, a quarter wave between loudspeaker and wall, is the limit of a far seat on
the axis. A wall counts only where the mirrored path meets it between its corners; paths around a
corner that juts into the room aren't followed.

References
----------
Mirror-image geometry (closed form); the quarter-wave rule is handbook lore. A
different quantity is the *power* that a loudspeaker gives off near walls: R. Allison,
"The influence of room boundaries on loudspeaker power output", JAES 22(5), 1974
(second-hand).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.basics.air import Air
from analysis.basics.arrays import Complex, Float
from analysis.basics.decibel import amplitude_db
from analysis.room.reverberation import diffuse_power
from analysis.room.room import SOURCE_OR_SEAT_STD_M, Point, Room

HIGHEST_HZ: Final = 300.0
"""Later cancellations of a surface are listed up to here, the end of the bass curves."""

_LEAST_EXTRA_PATH_M: Final = 1e-3
"""With less extra path than this the first cancellation lies beyond hearing: none is given."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Reflection:
    """The sound that one surface sends to the seat.

    Attributes
    ----------
    surface : str
    direct_m, extra_path_m : float
        Direct path, and what the reflected one is longer, in metres.
    reflection : float
        Reflected over arriving pressure, 0 to 1; 0 where no path by the surface exists.
    path_slope : float
        How the extra path spreads per metre of spread in each coordinate.
    """

    surface: str
    direct_m: float
    extra_path_m: float
    reflection: float
    path_slope: float

    @property
    def can_cancel(self) -> bool:
        """Whether its first cancellation lies within hearing."""
        return self.extra_path_m >= _LEAST_EXTRA_PATH_M

    @property
    def image_m(self) -> float:
        """Distance from the mirror image to the seat, in metres."""
        return self.direct_m + self.extra_path_m

    @property
    def depth_db(self) -> float:
        """Level of a cancellation against the direct sound, below 0."""
        share = self.reflection * self.direct_m / self.image_m
        return float(amplitude_db(1 - share))

    def cancellations_hz(
        self, *, speed_of_sound_m_s: float, highest_hz: float = HIGHEST_HZ
    ) -> tuple[float, ...]:
        """Return where it cancels: the first wherever it lies, later ones up to a limit."""
        first_hz = speed_of_sound_m_s / (2 * self.extra_path_m)
        n_orders = max(1, math.floor(0.5 * (highest_hz / first_hz + 1)))
        return tuple((2 * order - 1) * first_hz for order in range(1, n_orders + 1))

    def relative_std(self, air: Air, *, position_std_m: float = SOURCE_OR_SEAT_STD_M) -> float:
        """Return one sigma of a cancellation's frequency over it: of the air and of the places."""
        of_air = air.speed_of_sound_std_m_s / air.speed_of_sound_m_s
        return math.hypot(of_air, self.path_slope * position_std_m / self.extra_path_m)

    def relative(self, frequency_hz: Float, *, speed_of_sound_m_s: float) -> Complex:
        """Return the reflected sound over the direct one."""
        share = self.reflection * self.direct_m / self.image_m
        turn = np.exp(-2j * np.pi * frequency_hz * self.extra_path_m / speed_of_sound_m_s)
        return np.asarray(share * turn)

    def level_db(self, frequency_hz: Float, *, speed_of_sound_m_s: float) -> Float:
        """Return direct and reflected sound together against the direct one, in dB."""
        return together_db((self,), frequency_hz, speed_of_sound_m_s=speed_of_sound_m_s)


def together_db(
    many: Sequence[Reflection], frequency_hz: Float, *, speed_of_sound_m_s: float
) -> Float:
    """Return direct sound and reflections together against the direct sound alone.

    Parameters
    ----------
    many : sequence of Reflection
        Of one loudspeaker.
    frequency_hz : ndarray, shape (m,)
    speed_of_sound_m_s : float

    Returns
    -------
    ndarray, shape (m,)
        In dB.
    """
    each = [one.relative(frequency_hz, speed_of_sound_m_s=speed_of_sound_m_s) for one in many]
    return np.asarray(amplitude_db(np.abs(1 + np.sum(each, axis=0))))


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
    """

    surface: str
    order: int
    frequency_hz: float
    frequency_std_hz: float
    depth_db: float
    direct_m: float
    extra_path_m: float


def reflections(room: Room, source: Point, seat: Point) -> tuple[Reflection, ...]:
    """Return the single reflection of each surface that can cancel.

    Parameters
    ----------
    room : Room
    source, seat : Point
        Inside the room, apart from each other.

    Returns
    -------
    tuple of Reflection
        In the order of `Room.surfaces`; a surface that the source or the seat touches, or that
        no path meets, has none.

    Raises
    ------
    ValueError
        If source and seat coincide, or one is outside the room.
    """
    every = reflections_by_surface(room, source, seat).values()
    return tuple(one for one in every if one.can_cancel)


def reflections_by_surface(room: Room, source: Point, seat: Point) -> dict[str, Reflection]:
    """Return the single reflection of every surface, of strength 0 where no path meets it.

    Parameters
    ----------
    room : Room
    source, seat : Point
        Inside the room, apart from each other.

    Returns
    -------
    dict of str to Reflection
        In the order of `Room.surfaces`.

    Raises
    ------
    ValueError
        If source and seat coincide, or one is outside the room.
    """
    _require_apart(room, source, seat)
    images = dict(_images(room, source.array, seat.array))
    return {
        name: _reflection(room, name, source.array, images[name], seat.array)
        if name in images
        else _no_reflection(name, source.distance_m(seat))
        for name in room.surfaces
    }


def cancellations(
    many: Iterable[Reflection], *, air: Air, highest_hz: float = HIGHEST_HZ
) -> tuple[Cancellation, ...]:
    """Return the cancellations of several surfaces at the seat, for one loudspeaker.

    Parameters
    ----------
    many : iterable of Reflection
        Those that can't cancel are passed over.
    air : Air
    highest_hz : float
        Beyond the first, those up to here are given.

    Returns
    -------
    tuple of Cancellation
        By rising frequency; the first of each surface wherever it lies.
    """
    c = air.speed_of_sound_m_s
    found = [
        Cancellation(
            surface=one.surface,
            order=order,
            frequency_hz=at_hz,
            frequency_std_hz=at_hz * one.relative_std(air),
            depth_db=one.depth_db,
            direct_m=one.direct_m,
            extra_path_m=one.extra_path_m,
        )
        for one in many
        if one.can_cancel
        for order, at_hz in enumerate(
            one.cancellations_hz(speed_of_sound_m_s=c, highest_hz=highest_hz), start=1
        )
    ]
    return tuple(sorted(found, key=lambda one: one.frequency_hz))


def power_taken(
    many: Sequence[Reflection],
    *,
    frequency_hz: float,
    speed_of_sound_m_s: float,
    mean_absorption: float,
    surface_m2: float,
) -> float:
    r"""Return which share of the mean square at the seat one reflection takes away.

    Parameters
    ----------
    many : sequence of Reflection
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
    direct_m = np.array([one.direct_m for one in many])
    image_m = np.array([one.image_m for one in many])
    reflection = np.array([one.reflection for one in many])
    direct = np.sum(np.exp(-1j * wavenumber * direct_m) / direct_m)
    image = np.sum(reflection * np.exp(-1j * wavenumber * image_m) / image_m)
    reverberant = len(many) * diffuse_power(mean_absorption, surface_m2=surface_m2)
    random = np.abs(direct) ** 2 + np.abs(image) ** 2 + reverberant
    return float(1 - (np.abs(direct + image) ** 2 + reverberant) / random)


def _require_apart(room: Room, source: Point, seat: Point) -> None:
    """Refuse points outside the room, and a source at the seat."""
    for name, point in (("source", source), ("seat", seat)):
        if not room.holds(point.array)[0]:
            msg = f"{name} {point} must lie inside the room"
            raise ValueError(msg)
    if source.distance_m(seat) == 0:
        msg = f"source {source} must stand apart from the seat"
        raise ValueError(msg)


def _reflection(room: Room, name: str, source: Float, image: Float, seat: Float) -> Reflection:
    """Return the reflection of a surface whose mirror image is known."""
    direct_m = math.dist(source, seat)
    return Reflection(
        surface=name,
        direct_m=direct_m,
        extra_path_m=math.dist(image, seat) - direct_m,
        reflection=math.sqrt(1 - room.absorption_of(name)),
        path_slope=_path_slope(room, name, source, image, seat),
    )


def _no_reflection(name: str, direct_m: float) -> Reflection:
    """Return the reflection of a surface that sends nothing."""
    return Reflection(
        surface=name, direct_m=direct_m, extra_path_m=0.0, reflection=0.0, path_slope=0.0
    )


def _path_slope(room: Room, name: str, source: Float, image: Float, seat: Float) -> float:
    """Return how the extra path spreads per metre of spread in each coordinate.

    Along those of source and seat, and along the normal of the surface where that isn't the
    floor or a wall on an axis, from which the tape starts.
    """
    across = image - source
    normal = across / max(float(np.linalg.norm(across)), 1e-12)
    to_source = (source - seat) / np.linalg.norm(source - seat)
    to_image = (image - seat) / np.linalg.norm(image - seat)
    mirrored = to_image - 2 * float(to_image @ normal) * normal
    squares = np.sum((mirrored - to_source) ** 2) + np.sum((to_source - to_image) ** 2)
    if not _tape_starts(room, name):
        squares += (2 * float(to_image @ normal)) ** 2
    return float(np.sqrt(squares))


def _tape_starts(room: Room, name: str) -> bool:
    """Return whether coordinates are counted from a surface."""
    if name in ("floor", "ceiling"):
        return name == "floor"
    wall = room.plan.wall_names.index(name)
    ends = np.roll(room.plan.array, -wall, axis=0)[:2]
    return bool(np.any(np.all(np.abs(ends) < 1e-9, axis=0)))


def _images(room: Room, source: Float, seat: Float) -> Iterator[tuple[str, Float]]:
    """Yield the mirror image in each surface whose path is clear."""
    corners = room.plan.array
    for k, name in enumerate(room.plan.wall_names):
        along = np.roll(corners, -1, axis=0)[k] - corners[k]
        normal = np.array([-along[1], along[0], 0.0]) / np.linalg.norm(along)
        image = _mirrored(source, np.array([*corners[k], 0.0]), normal)
        if _meets_wall(room, k, image, seat, source):
            yield name, image
    yield "floor", source * np.array([1.0, 1.0, -1.0])
    axis = 0 if room.slopes_along == "x" else 1
    normal = np.zeros(3)
    normal[axis], normal[2] = -room.slope, 1.0
    foot = np.array([*corners[0], float(room.height_at(corners[:1])[0])])
    yield "ceiling", _mirrored(source, foot, normal / np.linalg.norm(normal))


def _mirrored(point: Float, foot: Float, normal: Float) -> Float:
    """Return the mirror image of a point in a plane."""
    return np.asarray(point - 2 * np.dot(point - foot, normal) * normal)


def _meets_wall(room: Room, wall: int, image: Float, seat: Float, source: Float) -> bool:
    """Return whether the path meets the wall between its corners, and sees both ends."""
    from shapely import LineString

    start, stop = room.plan.array[wall], np.roll(room.plan.array, -1, axis=0)[wall]
    along, path = stop - start, seat[:2] - image[:2]
    cross = along[0] * path[1] - along[1] * path[0]
    if abs(cross) < 1e-12:
        return False
    away = image[:2] - start
    share = (away[0] * path[1] - away[1] * path[0]) / cross
    if not 0 <= share <= 1:
        return False
    foot = start + share * along
    floor = room.plan.polygon.buffer(1e-6)
    return bool(
        floor.covers(LineString([source[:2], foot])) and floor.covers(LineString([foot, seat[:2]]))
    )
