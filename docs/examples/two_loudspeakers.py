"""Which of two loudspeakers is farther? `analysis` as a library, without a sound device or a file.

Two invented loudspeakers stand 2.500 m and 2.523 m from an invented microphone, in a room that
leaves only their direct sound; the right one is half a decibel softer. The same calls serve a real
recording of the sweep.

Run as ``python docs/examples/two_loudspeakers.py``.
"""

from __future__ import annotations

import numpy as np

from analysis.basics.air import air_at
from analysis.pair.arrival import match_arrivals
from analysis.pair.level import match_levels
from analysis.signals.deconvolution import cut_pass, inverse_sweep, response_slice
from analysis.signals.impulse_response import ImpulseResponse
from analysis.signals.onset import first_arrival_s
from analysis.signals.sweep import Sweep, sweep_samples

RATE_HZ = 48_000
DISTANCES_M = {"left": 2.500, "right": 2.523}
GAINS_DB = {"left": 0.0, "right": -0.5}
NOISE = 1e-4
"""RMS of the invented microphone's noise, full scale being 1."""


def recorded(sweep: Sweep, side: str, *, speed_m_s: float) -> np.ndarray:
    """Return what the microphone hears of one loudspeaker, shape (n,), from the sweep's start."""
    delay_s = DISTANCES_M[side] / speed_m_s
    played = sweep_samples(sweep, sample_rate_hz=RATE_HZ, advance_s=-delay_s)
    heard = 10 ** (GAINS_DB[side] / 20) * np.concatenate([played, np.zeros(RATE_HZ)])
    # Before the sweep's first sample its formula goes on to lower frequencies: there is silence.
    heard[: int(np.ceil(delay_s * RATE_HZ))] = 0.0
    noise = np.random.default_rng(len(side)).standard_normal(heard.size)
    return np.asarray(heard + NOISE * noise)


def response(sweep: Sweep, samples: np.ndarray) -> ImpulseResponse:
    """Return the impulse response in a recording that begins with the sweep."""
    cut, first, _ = cut_pass(samples, RATE_HZ, 0.0, length_s=sweep.duration_s + 0.9)
    inverse = inverse_sweep(sweep, sample_rate_hz=RATE_HZ, n_fft=2 * cut.size)
    transfer = np.fft.rfft(cut, inverse.n_fft) * inverse.spectrum
    begin_s = first / RATE_HZ
    return ImpulseResponse(
        samples=response_slice(transfer, inverse, start_s=-begin_s, stop_s=0.3 - begin_s),
        sample_rate_hz=RATE_HZ,
        start_s=0.0,
        noise=response_slice(transfer, inverse, start_s=0.3 - begin_s, stop_s=0.8 - begin_s),
        band_hz=(sweep.start_hz, sweep.stop_hz),
    )


def main() -> None:
    """Print the difference in distance and in level."""
    air = air_at(21.0, temperature_std_c=1.0, relative_humidity_percent=45.0)
    sweep = Sweep(start_hz=20.0, stop_hz=20_000.0, duration_s=2.0, level_dbfs=-20.0)
    left, right = (
        response(sweep, recorded(sweep, side, speed_m_s=air.speed_of_sound_m_s))
        for side in ("left", "right")
    )
    arrival = match_arrivals(left, right, speed_of_sound_m_s=air.speed_of_sound_m_s)
    level = match_levels(
        left, right, left_s=first_arrival_s(left), right_s=first_arrival_s(right), gate_s=0.01
    )
    print(f"left minus right: {1e3 * arrival.difference_m:.2f} +- {1e3 * arrival.std_m:.3f} mm")
    print(f"left louder by {level.direct.left_minus_right_db:.2f} dB")


if __name__ == "__main__":
    main()
