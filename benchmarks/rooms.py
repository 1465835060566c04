r"""Simulated rooms: box rooms by image-source libraries that nobody here wrote.

Conventions: x runs from the left wall to the right, facing the loudspeakers, y from the
front wall to the rear, z up from the floor, in metres. Row 0 is left. Index 0 of a
response is the moment of emission. The truth of an arrival difference is geometry alone:
loudspeaker models add minimum-phase filters and crossover allpasses, never a delay.

Two libraries lead to the same room. *pyroomacoustics*: its constant delay of 40 samples
is removed, its high-pass switched off, and positions are rounded to its 32 bits before
the truth is taken from them. *rir_generator*: called without its high-pass and scaled by
:math:`4\pi`, so that both have amplitude :math:`1/d`.

What these rooms are not: walls are alike at all frequencies, loudspeakers radiate alike in
all directions, and furniture is a handful of discrete echoes.

References
----------
J. B. Allen, D. A. Berkley, "Image method for efficiently simulating small-room
acoustics", J. Acoust. Soc. Am. 65(4), 943-950, 1979.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from benchmarks.loudspeakers import Loudspeaker, Pair, random_pair, transfer_function

__all__ = [
    "Echo",
    "Layout",
    "Loudspeaker",
    "Pair",
    "furniture",
    "path_difference_m",
    "paths_m",
    "random_layout",
    "random_pair",
    "responses",
    "room_responses",
]

Float = NDArray[np.float64]
Point = tuple[float, float, float]

PYROOM_DELAY = 40
"""Samples by which pyroomacoustics delays every response (half its 81-tap kernel)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Echo:
    """A discrete reflection from furniture.

    Attributes
    ----------
    delay_s : float
        After the direct sound, in seconds.
    level_db : float
        Relative to the direct sound, in dB.
    inverted : bool
        Pressure turned over, as by a soft edge.
    """

    delay_s: float
    level_db: float
    inverted: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Layout:
    """A box room with a pair of loudspeakers and a microphone.

    Attributes
    ----------
    size_m : tuple of float
        Width, length and height.
    absorption : tuple of float
        Energy absorption of the left, right, front and rear wall, floor and ceiling.
    left_m, right_m : tuple of float
        The tweeters.
    seat_m : tuple of float
        The microphone.
    speed_of_sound_m_s : float
    left_echoes, right_echoes : tuple of Echo
    """

    size_m: Point
    absorption: tuple[float, float, float, float, float, float]
    left_m: Point
    right_m: Point
    seat_m: Point
    speed_of_sound_m_s: float = 343.2
    left_echoes: tuple[Echo, ...] = ()
    right_echoes: tuple[Echo, ...] = ()


def paths_m(layout: Layout) -> tuple[float, float]:
    """Return the direct paths of left and right from the 32-bit positions, in metres."""
    seat, left, right = (
        np.asarray(point, dtype=np.float32).astype(float)
        for point in (layout.seat_m, layout.left_m, layout.right_m)
    )
    return float(np.linalg.norm(left - seat)), float(np.linalg.norm(right - seat))


def path_difference_m(layout: Layout) -> float:
    """Return the left path less the right path, in metres: the truth of an arrival match."""
    left_m, right_m = paths_m(layout)
    return left_m - right_m


def random_layout(rng: np.random.Generator, *, echoes: bool = True) -> Layout:
    """Return a living room with a pair and a seat where people put them.

    Half-angle 20 to 35 degrees, seat 1.8 to 3.5 m from the loudspeakers, tweeters 0.8 to
    1.2 m and the ear 0.9 to 1.2 m high, paths that differ by up to 60 mm; the whole stands
    off the room's centre line.

    Parameters
    ----------
    rng : numpy.random.Generator
    echoes : bool
        With reflections from furniture.

    Returns
    -------
    Layout
    """
    while True:
        layout = _draw_layout(rng)
        if _fits(layout):
            break
    if not echoes:
        return layout
    return replace(layout, left_echoes=_draw_echoes(rng), right_echoes=_draw_echoes(rng))


def _draw_layout(rng: np.random.Generator) -> Layout:
    half_angle = math.radians(rng.uniform(20, 35))
    distance_m = rng.uniform(1.8, 3.5)
    difference_m = rng.uniform(-0.06, 0.06)
    size_m = (rng.uniform(3.2, 5.5), rng.uniform(4.0, 7.5), rng.uniform(2.3, 2.9))
    tweeter_m, ear_m = rng.uniform(0.8, 1.2), rng.uniform(0.9, 1.2)
    centre_m = 0.5 * size_m[0] + rng.uniform(-0.5, 0.5)
    front_m = rng.uniform(0.5, 1.4)
    seat = np.array([centre_m, front_m + distance_m * math.cos(half_angle), ear_m])
    points = []
    for side, extra_m in ((-1, difference_m / 2), (1, -difference_m / 2)):
        path_m = distance_m + extra_m
        along_m = math.sqrt(path_m**2 - (tweeter_m - ear_m) ** 2)
        away = np.array([side * math.sin(half_angle), -math.cos(half_angle), 0.0])
        points.append(seat + along_m * away + [0, 0, tweeter_m - ear_m])
    left_m, right_m, seat_m = (_rounded(point) for point in (*points, seat))
    return Layout(
        size_m=_rounded(size_m),
        absorption=tuple(rng.uniform((0.1, 0.1, 0.1, 0.1, 0.1, 0.1), (0.5,) * 6)),
        left_m=left_m,
        right_m=right_m,
        seat_m=seat_m,
        speed_of_sound_m_s=rng.uniform(341.0, 347.0),
    )


def _rounded(point: Point | Float) -> Point:
    x, y, z = (float(np.float32(value)) for value in point)
    return x, y, z


def _fits(layout: Layout) -> bool:
    """Whether everything stands at least 0.3 m off every wall."""
    size = np.array(layout.size_m)
    points = np.array([layout.left_m, layout.right_m, layout.seat_m])
    return bool(np.all(points > 0.3) and np.all(points < size - 0.3))


def _draw_echoes(rng: np.random.Generator) -> tuple[Echo, ...]:
    """Draw up to three echoes: seven in eight come later than 1.5 ms."""
    echoes = []
    for _ in range(rng.integers(0, 4)):
        early = rng.random() < 0.125
        echoes.append(
            Echo(
                delay_s=rng.uniform(0.8e-3, 1.5e-3) if early else rng.uniform(1.5e-3, 6e-3),
                level_db=rng.uniform(-20, -8),
                inverted=bool(rng.random() < 0.3),
            )
        )
    return tuple(echoes)


def room_responses(
    layout: Layout,
    *,
    sample_rate_hz: float,
    duration_s: float,
    max_order: int | None = 12,
    simulator: str = "pyroomacoustics",
) -> Float:
    """Return the room's own responses, without loudspeakers or furniture.

    Parameters
    ----------
    layout : Layout
    sample_rate_hz, duration_s : float
    max_order : int, optional
        Highest order of reflection. 12 serves the arrival; None takes all reflections that
        fall inside `duration_s`, which the bass needs.
    simulator : {"pyroomacoustics", "rir_generator"}

    Returns
    -------
    ndarray, shape (2, n)
        Left, right; amplitude 1/d.
    """
    simulate = {"pyroomacoustics": _pyroom, "rir_generator": _rir_generator}[simulator]
    n_samples = math.ceil(duration_s * sample_rate_hz)
    if max_order is None:
        shortest_m = min(layout.size_m)
        max_order = math.ceil(layout.speed_of_sound_m_s * duration_s / shortest_m) + 1
    return simulate(layout, sample_rate_hz, n_samples, max_order)


def _pyroom(layout: Layout, sample_rate_hz: float, n_samples: int, max_order: int) -> Float:
    import pyroomacoustics as pra

    names = ("west", "east", "south", "north", "floor", "ceiling")
    high_pass = pra.constants.get("rir_hpf_enable")
    pra.constants.set("rir_hpf_enable", False)
    try:
        room = pra.ShoeBox(
            layout.size_m,
            fs=sample_rate_hz,
            materials={
                name: pra.Material(value)
                for name, value in zip(names, layout.absorption, strict=True)
            },
            max_order=max_order,
            air_absorption=False,
        )
        room.set_sound_speed(layout.speed_of_sound_m_s)
        room.add_source(layout.left_m)
        room.add_source(layout.right_m)
        room.add_microphone(layout.seat_m)
        room.compute_rir()
    finally:
        pra.constants.set("rir_hpf_enable", high_pass)
    result = np.zeros((2, n_samples))
    for row, response in zip(result, room.rir[0], strict=True):
        kept = response[PYROOM_DELAY : PYROOM_DELAY + n_samples]
        row[: kept.size] = kept
    return result


def _rir_generator(layout: Layout, sample_rate_hz: float, n_samples: int, max_order: int) -> Float:
    import rir_generator

    beta = [math.sqrt(1 - value) for value in layout.absorption]
    seat_m = np.asarray(layout.seat_m, dtype=np.float32).astype(float)
    rows = [
        rir_generator.generate(
            c=layout.speed_of_sound_m_s,
            fs=sample_rate_hz,
            r=seat_m,
            s=np.asarray(source_m, dtype=np.float32).astype(float),
            L=layout.size_m,
            beta=beta,
            nsample=n_samples,
            order=max_order,
            hp_filter=False,
        ).ravel()
        for source_m in (layout.left_m, layout.right_m)
    ]
    return 4 * np.pi * np.array(rows)


def responses(
    layout: Layout,
    pair: Pair,
    *,
    sample_rate_hz: float,
    duration_s: float,
    max_order: int | None = 12,
    simulator: str = "pyroomacoustics",
) -> Float:
    """Return what a pair of loudspeakers sends to the microphone.

    Parameters
    ----------
    layout : Layout
    pair : Pair
    sample_rate_hz, duration_s, max_order, simulator
        As for `room_responses`.

    Returns
    -------
    ndarray, shape (2, n)
        Left, right; index 0 is the moment of emission.
    """
    room = room_responses(
        layout,
        sample_rate_hz=sample_rate_hz,
        duration_s=duration_s,
        max_order=max_order,
        simulator=simulator,
    )
    n_samples = room.shape[1]
    # Zeros behind, so that ringing before the first arrival and bass after the last
    # don't wrap round.
    n_fft = fft.next_fast_len(n_samples + math.ceil(0.2 * sample_rate_hz), real=True)
    frequency_hz = fft.rfftfreq(n_fft, 1 / sample_rate_hz)
    spectrum = fft.rfft(room, n_fft)
    spectrum[0] *= transfer_function(pair.left, frequency_hz)
    spectrum[1] *= transfer_function(pair.right, frequency_hz)
    spectrum[0] *= furniture(layout.left_echoes, frequency_hz)
    spectrum[1] *= furniture(layout.right_echoes, frequency_hz)
    return np.asarray(fft.irfft(spectrum, n_fft)[:, :n_samples])


def furniture(echoes: tuple[Echo, ...], frequency_hz: Float) -> NDArray[np.complex128]:
    """Return the direct sound with its echoes, over the direct sound."""
    total = np.ones(frequency_hz.size, dtype=complex)
    for echo in echoes:
        gain = 10 ** (echo.level_db / 20) * (-1 if echo.inverted else 1)
        total += gain * np.exp(-2j * np.pi * frequency_hz * echo.delay_s)
    return total
