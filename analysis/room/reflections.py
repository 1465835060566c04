r"""What each surface of a room does to the direct sound, by its mirror image.

Conventions: those of `analysis.room.boundary`, for any floor plan and a plane ceiling. A wall
counts only where the mirrored path meets it between its corners; paths around a corner
that juts into the room aren't followed. What reaches the seat by one surface alone is

.. math:: \frac{e^{-jkr_d}}{r_d} + R\,\frac{e^{-jkr_i}}{r_i}, \qquad R = \sqrt{1 - \alpha},

given in dB against the direct sound.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.basics.air import Air
from analysis.basics.arrays import Complex, Float
from analysis.basics.decibel import amplitude_db
from analysis.room.boundary import HIGHEST_HZ
from analysis.room.room import SOURCE_OR_SEAT_STD_M, Point
from analysis.room.space import Space

_LEAST_EXTRA_PATH_M = 1e-3


@dataclass(frozen=True, kw_only=True, slots=True)
class Reflection:
    """The sound that one surface sends to the seat.

    Attributes
    ----------
    surface : str
    direct_m, extra_path_m : float
        Direct path, and what the reflected one is longer, in metres.
    gap_m : float
        From the loudspeaker to the surface.
    reflection : float
        Reflected over arriving pressure, 0 to 1.
    path_slope : float
        How the extra path spreads per metre of spread in each coordinate.
    """

    surface: str
    direct_m: float
    extra_path_m: float
    gap_m: float
    reflection: float
    path_slope: float

    @property
    def depth_db(self) -> float:
        """Level of a cancellation against the direct sound, below 0."""
        share = self.reflection * self.direct_m / (self.direct_m + self.extra_path_m)
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
        share = self.reflection * self.direct_m / (self.direct_m + self.extra_path_m)
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


def reflections(space: Space, source: Point, seat: Point) -> tuple[Reflection, ...]:
    """Return the single reflection of each surface that has one.

    Parameters
    ----------
    space : Space
    source, seat : Point
        Inside the room, apart from each other.

    Returns
    -------
    tuple of Reflection
        In the order of `Space.surfaces`.
    """
    direct_m = source.distance_m(seat)
    found = []
    for name, image in _images(space, source.array, seat.array):
        extra_m = math.dist(image, seat.array) - direct_m
        if extra_m >= _LEAST_EXTRA_PATH_M:
            found.append(
                Reflection(
                    surface=name,
                    direct_m=direct_m,
                    extra_path_m=extra_m,
                    gap_m=math.dist(image, source.array) / 2,
                    reflection=math.sqrt(1 - space.absorption_of(name)),
                    path_slope=_path_slope(space, name, source.array, image, seat.array),
                )
            )
    return tuple(found)


def _path_slope(space: Space, name: str, source: Float, image: Float, seat: Float) -> float:
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
    if not _tape_starts(space, name):
        squares += (2 * float(to_image @ normal)) ** 2
    return float(np.sqrt(squares))


def _tape_starts(space: Space, name: str) -> bool:
    """Return whether coordinates are counted from a surface."""
    if name in ("floor", "ceiling"):
        return name == "floor"
    wall = space.plan.wall_names.index(name)
    ends = np.roll(space.plan.array, -wall, axis=0)[:2]
    return bool(np.any(np.all(np.abs(ends) < 1e-9, axis=0)))


def _images(space: Space, source: Float, seat: Float) -> Iterator[tuple[str, Float]]:
    """Yield the mirror image in each surface whose path is clear."""
    corners = space.plan.array
    for k, name in enumerate(space.plan.wall_names):
        along = np.roll(corners, -1, axis=0)[k] - corners[k]
        normal = np.array([-along[1], along[0], 0.0]) / np.linalg.norm(along)
        image = _mirrored(source, np.array([*corners[k], 0.0]), normal)
        if _meets_wall(space, k, image, seat, source):
            yield name, image
    yield "floor", source * np.array([1.0, 1.0, -1.0])
    axis = 0 if space.slopes_along == "x" else 1
    normal = np.zeros(3)
    normal[axis], normal[2] = -space.slope, 1.0
    foot = np.array([*corners[0], float(space.height_at(corners[:1])[0])])
    yield "ceiling", _mirrored(source, foot, normal / np.linalg.norm(normal))


def _mirrored(point: Float, foot: Float, normal: Float) -> Float:
    """Return the mirror image of a point in a plane."""
    return np.asarray(point - 2 * np.dot(point - foot, normal) * normal)


def _meets_wall(space: Space, wall: int, image: Float, seat: Float, source: Float) -> bool:
    """Return whether the path meets the wall between its corners, and sees both ends."""
    from shapely import LineString

    start, stop = space.plan.array[wall], np.roll(space.plan.array, -1, axis=0)[wall]
    along, path = stop - start, seat[:2] - image[:2]
    cross = along[0] * path[1] - along[1] * path[0]
    if abs(cross) < 1e-12:
        return False
    away = image[:2] - start
    share = (away[0] * path[1] - away[1] * path[0]) / cross
    if not 0 <= share <= 1:
        return False
    foot = start + share * along
    room = space.plan.polygon.buffer(1e-6)
    return bool(
        room.covers(LineString([source[:2], foot])) and room.covers(LineString([foot, seat[:2]]))
    )
