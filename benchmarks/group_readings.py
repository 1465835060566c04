"""Readings of an invented room with modes and reflections, each a little off from the other."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from analysis.basics.arrays import Float
from analysis.bass.curve import bass_curve
from analysis.bass.features import find_features
from analysis.comparison.compare import Snapshot
from analysis.signals.impulse_response import ImpulseResponse

RATE_HZ = 16_000
N = 9_600
ONSET = 800
MODES_HZ = {"left": (28.0, 46.0, 71.0, 104.0), "right": (30.0, 49.0, 77.0, 110.0)}
REFLECTIONS_MS = {"left": (2.1, 4.7, 8.3), "right": (1.6, 5.4, 9.1)}


@lru_cache
def _spectrum_axis() -> Float:
    """Return the frequencies of a response's spectrum."""
    return np.asarray(np.fft.rfftfreq(N, 1 / RATE_HZ))


def reading(
    rng: np.random.Generator,
    *,
    scale: float = 1.0,
    mode_db: float = 0.0,
    shift: float = 0.0,
    reflection_db: float = 0.0,
) -> Snapshot:
    """Return a reading whose levels and times scatter.

    Of the left loudspeaker the second mode and the first reflection are changed if wanted.
    """
    sides = {}
    for side in ("left", "right"):
        left = side == "left"
        response = _response(
            rng,
            side,
            scale=scale,
            mode_db=mode_db * left,
            shift=shift * left,
            reflection_db=reflection_db * left,
        )
        sides[side] = response
    features = {name: find_features(bass_curve(one)) for name, one in sides.items()}
    return Snapshot(
        left=sides["left"],
        right=sides["right"],
        arrival_m=0.005 + rng.normal(0, 3e-4 * scale),
        arrival_in_room_std_m=3e-4,
        direct_db=0.3 + rng.normal(0, 0.1 * scale),
        direct_std_db=0.05,
        seat_db=0.2 + rng.normal(0, 0.1 * scale),
        seat_std_db=0.05,
        features=features,  # type: ignore[arg-type]
    )


def _response(
    rng: np.random.Generator,
    side: str,
    *,
    scale: float,
    mode_db: float,
    shift: float,
    reflection_db: float,
) -> ImpulseResponse:
    """Return one loudspeaker's response."""
    at_hz = _spectrum_axis()
    total = np.full(at_hz.size, 1.0 + 0j)
    for k, ms in enumerate(REFLECTIONS_MS[side]):
        gain_db = -9.0 - 2 * k + rng.normal(0, 0.3 * scale) + (reflection_db if k == 0 else 0.0)
        delay_s = ms * 1e-3 + rng.normal(0, 5e-6 * scale)
        high = at_hz**2 / (at_hz**2 + 400.0**2)
        total += 10 ** (gain_db / 20) * high * np.exp(-2j * np.pi * at_hz * delay_s)
    for k, mode_hz in enumerate(MODES_HZ[side]):
        gain_db = 8.0 + rng.normal(0, 0.3 * scale) + (mode_db if k == 1 else 0.0)
        own_hz = mode_hz * (1 + rng.normal(0, 0.001 * scale) + (shift if k == 1 else 0.0))
        q = 12.0
        total += 10 ** (gain_db / 20) / (
            1 + 1j * q * (at_hz / own_hz - own_hz / np.maximum(at_hz, 1))
        )
    samples = np.fft.irfft(total * np.exp(-2j * np.pi * at_hz * ONSET / RATE_HZ), N)
    noise = 2e-5 * scale * rng.standard_normal((2, N))
    return ImpulseResponse(
        samples=np.asarray(samples) + noise[0],
        sample_rate_hz=RATE_HZ,
        start_s=-ONSET / RATE_HZ,
        noise=noise[1],
        band_hz=(15.0, 7_900.0),
    )
