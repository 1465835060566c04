"""How long a reading takes, as ratios against named baselines, all in one run.

``python -m benchmarks.reading`` prints them. Baselines: the plainest correct numpy script
of the same deconvolution, without any check (here, `plain`), and pyfar's deconvolution of
the four passes, cut out beforehand. The core is finding, clock, deconvolution, averaging
and arrival; its last step, the checks' and the bass's cost are what a whole reading adds.
"""

from __future__ import annotations

import time
import tracemalloc
import warnings
from collections.abc import Callable
from statistics import median

import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len

from analysis.basics.air import air_at
from analysis.pair.arrival import match_arrivals
from analysis.reading import read_recording
from analysis.recording.alignment import align_passes
from analysis.recording.responses import average_passes
from analysis.room.room import Loudspeaker, Point, Positions, rectangular_room
from analysis.signals.deconvolution import inverse_sweep
from analysis.signals.programme import Programme
from analysis.signals.sweep import Sweep, sweep_samples
from benchmarks.recorder import record

RATE_HZ = 48_000
SPEED_OF_SOUND_M_S = 343.2
Float = NDArray[np.float64]

ROOM = rectangular_room(length_m=5.2, width_m=3.9, height_m=2.5)
POSITIONS = Positions(
    left=Loudspeaker(tweeter=Point(x_m=0.95, y_m=0.8, z_m=1.0)),
    right=Loudspeaker(tweeter=Point(x_m=2.95, y_m=0.8, z_m=1.0)),
    seat=Point(x_m=1.95, y_m=2.75, z_m=1.05),
)


def programme_of(duration_s: float) -> Programme:
    """Return the default programme with another sweep length."""
    sweep = Sweep(start_hz=15, stop_hz=22_000, duration_s=duration_s, level_dbfs=-20)
    return Programme(sweep=sweep, order="LRRL", sample_rate_hz=RATE_HZ, lead_in_s=1, tail_s=1.5)


def recording_of(programme: Programme) -> Float:
    """Return a recording of it in an invented room: noise that decays behind a spike."""
    rng = np.random.default_rng(1)
    time_s = np.arange(RATE_HZ // 2) / RATE_HZ
    responses = 0.02 * rng.standard_normal((2, time_s.size)) * np.exp(-6.9 * time_s / 0.5)
    responses[:, :480] = 0
    responses[0, 400], responses[1, 403] = 0.3, 0.3
    return record(programme, responses, clock_ppm=40, snr_db=40, rng=rng)


def plain(samples: Float, programme: Programme) -> float:
    """Deconvolve and time the pair in the plainest correct way; return the lag in samples.

    One matched filter finds the programme, the passes are cut where the sheet says, each
    is divided by the sweep, the repeats are averaged, and the peaks of the responses are
    compared. No drift, no check, no uncertainty.
    """
    played = sweep_samples(programme.sweep, sample_rate_hz=RATE_HZ)
    n_all = next_fast_len(samples.size + played.size, real=True)
    found = np.fft.irfft(np.fft.rfft(samples, n_all) * np.conj(np.fft.rfft(played, n_all)), n_all)
    first = int(np.argmax(np.abs(found[: samples.size])))
    starts = [round(start_s * RATE_HZ) for start_s in programme.starts_s]
    # The strongest pass may be any: take the one for which all lie inside.
    origin = next(
        first - start
        for start in starts
        if first - start >= 0
        and first - start + starts[-1] + programme.sweep.duration_s * RATE_HZ <= samples.size
    )
    n_cut = next_fast_len(
        round((programme.sweep.duration_s + programme.tail_s) * RATE_HZ), real=True
    )
    spectrum = np.fft.rfft(played, n_cut)
    floor = 1e-6 * float(np.max(np.abs(spectrum) ** 2))
    total = {"L": np.zeros(n_cut // 2 + 1, complex), "R": np.zeros(n_cut // 2 + 1, complex)}
    for side, start in zip(programme.order, starts, strict=True):
        at = max(origin + start - 2400, 0)
        cut = np.fft.rfft(samples[at : at + n_cut], n_cut)
        total[side] += cut * np.conj(spectrum) / (np.abs(spectrum) ** 2 + floor) / 2
    peaks = [int(np.argmax(np.abs(np.fft.irfft(total[side], n_cut)))) for side in "LR"]
    return float(peaks[0] - peaks[1])


def core(samples: Float, programme: Programme) -> float:
    """Find, correct, average, deconvolve and match the arrivals; return metres."""
    inverse_sweep.cache_clear()
    left, right = average_passes(align_passes(samples, programme), programme)
    assert left is not None
    assert right is not None
    match = match_arrivals(left.response, right.response, speed_of_sound_m_s=SPEED_OF_SOUND_M_S)
    return float(match.difference_m or 0)


def whole(samples: Float, programme: Programme) -> bool:
    """Read it with bass, causes and checks."""
    inverse_sweep.cache_clear()
    reading = read_recording(
        samples, recorded_hz=RATE_HZ, programme=programme, air=air_at(), room=(ROOM, POSITIONS)
    )
    return reading.usable


def library(samples: Float, programme: Programme) -> object:
    """Deconvolve the four passes, cut out beforehand, with pyfar: linear, not circular."""
    import pyfar

    n_cut = round((programme.sweep.duration_s + programme.tail_s) * RATE_HZ)
    starts = [round((1 + start_s) * RATE_HZ) for start_s in programme.starts_s]
    cuts = np.stack([samples[start : start + n_cut] for start in starts])
    played = np.zeros(n_cut)
    one = sweep_samples(programme.sweep, sample_rate_hz=RATE_HZ)
    played[: one.size] = one
    return pyfar.dsp.deconvolve(
        pyfar.Signal(cuts, RATE_HZ),
        pyfar.Signal(played, RATE_HZ),
        fft_length=next_fast_len(n_cut + one.size, real=True),
        frequency_range=(programme.sweep.start_hz, programme.sweep.stop_hz),
    )


def timed(calls: dict[str, Callable[[], object]], *, n_rounds: int) -> dict[str, float]:
    """Return the median time of each call in seconds, the calls taking turns."""
    times: dict[str, list[float]] = {name: [] for name in calls}
    for _ in range(n_rounds + 1):
        for name, call in calls.items():
            begin = time.perf_counter()
            call()
            times[name].append(time.perf_counter() - begin)
    return {name: median(taken[1:]) for name, taken in times.items()}


def main() -> None:
    """Print ratios, memory and growth."""
    warnings.simplefilter("ignore")
    programme = programme_of(6.0)
    samples = recording_of(programme)
    times = timed(
        {
            "plain numpy script": lambda: plain(samples, programme),
            "pyfar, deconvolution alone": lambda: library(samples, programme),
            "our core": lambda: core(samples, programme),
            "our whole reading": lambda: whole(samples, programme),
        },
        n_rounds=5,
    )
    base = times["plain numpy script"]
    print("four passes of 6 s at 48 kHz, medians of 5 rounds in turn")
    for name, taken in times.items():
        print(f"  {name:28s} {taken * 1e3:7.0f} ms  {taken / base:5.2f} x plain script")
    tracemalloc.start()
    whole(samples, programme)
    print(f"  peak of arrays in a whole reading: {tracemalloc.get_traced_memory()[1] / 1e6:.0f} MB")
    tracemalloc.stop()
    print("growth of the core with the sweep's length (n log n says 1, 2.1, 4.4, 9.0)")
    lengths = (3.0, 6.0, 12.0, 24.0)
    pairs = [(programme_of(length), recording_of(programme_of(length))) for length in lengths]
    grown = [timed({"core": lambda p=p, s=s: core(s, p)}, n_rounds=3)["core"] for p, s in pairs]
    for length, taken in zip(lengths, grown, strict=True):
        print(f"  {length:4.0f} s  {taken / grown[0]:5.2f}")


if __name__ == "__main__":
    main()
