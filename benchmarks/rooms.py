"""Invented living rooms from image-source libraries, with pairs that differ a little.

Conventions: metres; x from the left wall, y from the front wall, z above the floor; a
response's index 0 is the moment of emission; row 0 is the left loudspeaker. The truth is
the geometry, after the rounding of positions to 32 bits that the simulator does.

Rooms come from pyroomacoustics (its constant 40-sample delay taken off, its high-pass
off) or from rir-generator (its high-pass off): two programs that no one here wrote.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]
Complex = NDArray[np.complex128]

SPEED_OF_SOUND_M_S = 343.2
LIBRARY_DELAY = 40
"""Half the length of pyroomacoustics' windowed sinc."""

MISMATCHES = ("identical", "typical", "hard")
_SCALE = {"identical": 0.0, "typical": 1.0, "hard": 2.0}


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Layout:
    """A room, a pair and a seat.

    Attributes
    ----------
    size_m : ndarray, shape (3,)
        Width, length, height.
    absorption : tuple of float
        Left, right, front, rear, floor, ceiling.
    left_m, right_m, seat_m : ndarray, shape (3,)
    echoes : tuple of (side, delay in seconds, gain)
        Reflections from furniture, after the direct sound and re it.
    """

    size_m: Float
    absorption: tuple[float, float, float, float, float, float]
    left_m: Float
    right_m: Float
    seat_m: Float
    echoes: tuple[tuple[int, float, float], ...] = ()

    def distance_m(self, row: int) -> float:
        """Return a loudspeaker's distance to the seat, from positions in 32 bits."""
        source = np.float32(self.left_m if row == 0 else self.right_m).astype(float)
        return float(np.linalg.norm(source - np.float32(self.seat_m).astype(float)))

    @property
    def left_minus_right_m(self) -> float:
        """The truth."""
        return self.distance_m(0) - self.distance_m(1)


@dataclass(frozen=True, kw_only=True, slots=True)
class Box:
    """A two-way loudspeaker on its axis.

    Attributes
    ----------
    low_hz, crossover_hz, top_hz : float
        Second-order high-pass; crossover of fourth order, whose sum is an all-pass;
        second-order roll-off at the top.
    bells : tuple of (frequency in Hz, gain in dB, Q)
    gain_db : float
    """

    low_hz: float
    crossover_hz: float
    top_hz: float
    bells: tuple[tuple[float, float, float], ...]
    gain_db: float = 0.0

    def response(self, frequency_hz: Float) -> Complex:
        """Return the complex response."""
        s = 1j * np.asarray(frequency_hz, dtype=float)
        root2 = np.sqrt(2)
        low, cross, top = s / self.low_hz, s / self.crossover_hz, s / self.top_hz
        result = low**2 / (low**2 + root2 * low + 1) / (top**2 + root2 * top + 1)
        result *= (cross**2 - root2 * cross + 1) / (cross**2 + root2 * cross + 1)
        for centre_hz, level_db, q in self.bells:
            gain, part = 10 ** (level_db / 40), s / centre_hz
            result *= (part**2 + part * gain / q + 1) / (part**2 + part / (gain * q) + 1)
        return np.asarray(result * 10 ** (self.gain_db / 20))


def random_layout(rng: np.random.Generator, *, n_echoes: int = 3) -> Layout:
    """Return an asymmetric living room with a pair set up within some centimetres.

    Parameters
    ----------
    rng : numpy.random.Generator
    n_echoes : int
        Furniture reflections a side.

    Returns
    -------
    Layout
    """
    size = np.array([rng.uniform(3.4, 5.5), rng.uniform(4.2, 7.0), rng.uniform(2.3, 2.8)])
    distance, half = rng.uniform(2.0, 3.2), np.deg2rad(rng.uniform(22, 33))
    middle = size[0] / 2 + rng.uniform(-0.3, 0.3)
    front = rng.uniform(0.6, 1.2)
    seat = np.array([middle, front + distance * np.cos(half), rng.uniform(0.95, 1.15)])
    seat[1] = min(seat[1], size[1] - 0.5)
    height = rng.uniform(0.85, 1.15)
    spread = distance * np.sin(half)
    left = np.array([middle - spread, front, height])
    right = np.array([middle + spread + rng.uniform(-0.03, 0.03), front, height])
    left[1] += rng.uniform(-0.04, 0.04)
    left[0], right[0] = max(left[0], 0.3), min(right[0], size[0] - 0.3)
    echoes = tuple(
        (row, float(rng.uniform(1.6e-3, 8e-3)), float(10 ** (-rng.uniform(10, 20) / 20)))
        for row in (0, 1)
        for _ in range(n_echoes)
    )
    absorption = tuple(float(value) for value in rng.uniform(0.1, 0.45, 6))
    return Layout(
        size_m=size,
        absorption=absorption,  # type: ignore[arg-type]
        left_m=left,
        right_m=right,
        seat_m=seat,
        echoes=echoes,
    )


def random_pair(rng: np.random.Generator, mismatch: str) -> tuple[Box, Box]:
    """Return two loudspeakers of one kind that differ by their class of mismatch.

    Parameters
    ----------
    rng : numpy.random.Generator
    mismatch : {"identical", "typical", "hard"}
        Typical: bells of 0.6 dB, crossover 2 %, top 3 %, level 0.3 dB (one sigma or
        half range); hard twice that.

    Returns
    -------
    tuple of Box
    """
    scale = _SCALE[mismatch]
    bells = tuple(
        (float(np.exp(rng.uniform(np.log(150), np.log(16_000)))), rng.normal(0, 1.5), 2.0)
        for _ in range(5)
    )
    base = Box(
        low_hz=rng.uniform(38, 65),
        crossover_hz=rng.uniform(1800, 3500),
        top_hz=rng.uniform(20_000, 30_000),
        bells=bells,
    )
    boxes = []
    for _ in range(2):
        own = tuple(
            (
                float(np.exp(rng.uniform(np.log(300), np.log(16_000)))),
                rng.normal(0, 0.6) * scale,
                float(rng.uniform(1, 4)),
            )
            for _ in range(4)
        )
        boxes.append(
            replace(
                base,
                crossover_hz=base.crossover_hz * (1 + 0.02 * scale * rng.uniform(-1, 1)),
                top_hz=base.top_hz * (1 + 0.03 * scale * rng.uniform(-1, 1)),
                bells=(*bells, *own) if scale else bells,
                gain_db=0.3 * scale * rng.uniform(-1, 1),
            )
        )
    return boxes[0], boxes[1]


def responses(
    layout: Layout,
    pair: tuple[Box, Box],
    *,
    sample_rate_hz: int = 48_000,
    duration_s: float = 0.3,
    max_order: int = 12,
    library: str = "pyroomacoustics",
) -> Float:
    """Return the impulse responses at the seat.

    Parameters
    ----------
    layout : Layout
    pair : tuple of Box
    sample_rate_hz : int
    duration_s : float
    max_order : int
        Of reflections; bass needs more than the arrival.
    library : {"pyroomacoustics", "rir_generator"}

    Returns
    -------
    ndarray, shape (2, n)
    """
    n_samples = round(duration_s * sample_rate_hz)
    build = _pyroomacoustics if library == "pyroomacoustics" else _rir_generator
    plain = build(layout, sample_rate_hz, n_samples, max_order)
    n_fft = 2 * n_samples
    frequency_hz = np.fft.rfftfreq(n_fft, 1 / sample_rate_hz)
    spectra = np.fft.rfft(plain, n_fft)
    for row, box in enumerate(pair):
        direct = 1 / layout.distance_m(row)
        if library != "pyroomacoustics":
            direct /= 4 * np.pi
        flight_s = layout.distance_m(row) / SPEED_OF_SOUND_M_S
        for side, delay_s, gain in layout.echoes:
            if side == row:
                shift = np.exp(-2j * np.pi * frequency_hz * (flight_s + delay_s))
                spectra[row] += direct * gain * shift
        spectra[row] *= box.response(frequency_hz)
    return np.asarray(np.fft.irfft(spectra, n_fft)[:, :n_samples])


def _pyroomacoustics(layout: Layout, rate_hz: int, n_samples: int, max_order: int) -> Float:
    """Simulate with pyroomacoustics."""
    import pyroomacoustics as pra

    pra.constants.set("rir_hpf_enable", False)
    pra.constants.set("c", SPEED_OF_SOUND_M_S)
    names = ("west", "east", "south", "north", "floor", "ceiling")
    room = pra.ShoeBox(
        layout.size_m,
        fs=rate_hz,
        materials={
            name: pra.Material(value) for name, value in zip(names, layout.absorption, strict=True)
        },
        max_order=max_order,
        air_absorption=False,
    )
    room.add_source(layout.left_m)
    room.add_source(layout.right_m)
    room.add_microphone(layout.seat_m)
    room.compute_rir()
    result = np.zeros((2, n_samples))
    for row in range(2):
        one = np.asarray(room.rir[0][row], dtype=float)[LIBRARY_DELAY:][:n_samples]
        result[row, : one.size] = one
    return result


def _rir_generator(layout: Layout, rate_hz: int, n_samples: int, max_order: int) -> Float:
    """Simulate with rir-generator."""
    import rir_generator

    reflection = np.sqrt(1 - np.array(layout.absorption))
    rows = [
        rir_generator.generate(
            c=SPEED_OF_SOUND_M_S,
            fs=rate_hz,
            r=[layout.seat_m],
            s=source,
            L=layout.size_m,
            beta=reflection,
            nsample=n_samples,
            order=max_order,
            hp_filter=False,
        )[:, 0]
        for source in (layout.left_m, layout.right_m)
    ]
    return np.array(rows)
