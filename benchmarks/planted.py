"""Recordings whose truth was planted: a simulated room, a programme, and what is wrong.

Conventions: as in `benchmarks.recorder` and `benchmarks.rooms`; times are recorder seconds.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from analysis.signals.programme import Programme
from analysis.signals.sweep import Sweep
from benchmarks.recorder import record
from benchmarks.rooms import path_difference_m, random_layout, random_pair, responses

Float = NDArray[np.float64]

RATE_HZ = 48_000
START_S = 0.8
"""Room noise before the programme."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Planted:
    """A recording and its truth.

    Attributes
    ----------
    samples : ndarray, shape (n,)
    sample_rate_hz : int
    programme : Programme
    difference_s : float
        Left minus right path over the speed of sound.
    starts_s : tuple of float
        When each pass's sweep starts at the player, in recorder seconds.
    """

    samples: Float
    sample_rate_hz: int
    programme: Programme
    difference_s: float
    starts_s: tuple[float, ...]

    def spoilt(self, samples: Float, *, sample_rate_hz: int | None = None) -> Planted:
        """Return the same truth with other samples."""
        return replace(self, samples=samples, sample_rate_hz=sample_rate_hz or self.sample_rate_hz)


def short_programme(*, order: str = "LRRL", sample_rate_hz: int = RATE_HZ) -> Programme:
    """Return passes of 2 s, 20 Hz to 20 kHz."""
    sweep = Sweep(start_hz=20, stop_hz=20_000, duration_s=2, level_dbfs=-20)
    return Programme(
        sweep=sweep, order=order, sample_rate_hz=sample_rate_hz, lead_in_s=0.5, tail_s=1.0
    )


def default_programme(*, order: str = "LRRL", sample_rate_hz: int = RATE_HZ) -> Programme:
    """Return what ``apexline sweep`` makes unless told otherwise."""
    sweep = Sweep(start_hz=15, stop_hz=20_280, duration_s=6, level_dbfs=-20)
    return Programme(
        sweep=sweep, order=order, sample_rate_hz=sample_rate_hz, lead_in_s=1, tail_s=1.5
    )


@lru_cache(maxsize=16)
def room(
    seed: int,
    *,
    sample_rate_hz: int = RATE_HZ,
    absorption: float | None = None,
    moved_m: tuple[float, float, float] = (0.0, 0.0, 0.0),
) -> Float:
    """Return the responses of a random pair in a random room, shape (2, n).

    The microphone stands off the seat by `moved_m`.
    """
    rng = np.random.default_rng(seed)
    layout = random_layout(rng)
    if any(moved_m):
        x_m, y_m, z_m = (seat + move for seat, move in zip(layout.seat_m, moved_m, strict=True))
        layout = replace(layout, seat_m=(x_m, y_m, z_m))
    if absorption is not None:
        walls = (absorption,) * 6
        layout = replace(layout, absorption=walls)
    return responses(
        layout,
        random_pair(rng, "typical"),
        sample_rate_hz=sample_rate_hz,
        duration_s=0.4 if absorption is None else 1.2,
        max_order=6 if absorption is None else 24,
        simulator="rir_generator",
    )


def difference_s(seed: int) -> float:
    """Return the planted left-minus-right time of `room`."""
    layout = random_layout(np.random.default_rng(seed))
    return path_difference_m(layout) / layout.speed_of_sound_m_s


def planted(
    programme: Programme,
    *,
    seed: int = 1,
    snr_db: float | None = 40.0,
    clock_ppm: float = 30.0,
    sample_rate_hz: int = RATE_HZ,
    absorption: float | None = None,
    gains: tuple[float, float] = (1.0, 1.0),
    start_s: float = START_S,
    extra_s: float = 0.8,
    noise_seed: int = 0,
) -> Planted:
    """Return a recording of a programme in a random room.

    Parameters
    ----------
    programme : Programme
    seed : int
        Of the room and the pair.
    snr_db, clock_ppm, sample_rate_hz, start_s, extra_s
        As for `benchmarks.recorder.record`.
    absorption : float, optional
        Of all walls; random if not given.
    gains : tuple of float
        Of the left and right loudspeaker.
    noise_seed : int

    Returns
    -------
    Planted
    """
    pair = room(seed, sample_rate_hz=sample_rate_hz, absorption=absorption)
    samples = record(
        programme,
        pair * np.array(gains)[:, np.newaxis],
        sample_rate_hz=sample_rate_hz,
        clock_ppm=clock_ppm,
        snr_db=snr_db,
        rng=np.random.default_rng(noise_seed),
        start_s=start_s,
        extra_s=extra_s,
    )
    ratio = 1 + clock_ppm * 1e-6
    return Planted(
        samples=samples,
        sample_rate_hz=sample_rate_hz,
        programme=programme,
        difference_s=difference_s(seed),
        starts_s=tuple(start_s + at_s * ratio for at_s in programme.starts_s),
    )
