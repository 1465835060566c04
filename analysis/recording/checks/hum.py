"""Mains hum, looked for where no sweep is played.

Conventions: frequencies in Hz, levels in dB re the sweep's RMS.

A line counts as hum if it lies on a multiple of 50 or 60 Hz, stands out of its
neighbourhood, and stays: a voice or music crosses such a frequency, hum holds it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft as fft

from analysis.basics.arrays import Float
from analysis.recording.alignment import AlignedPasses
from analysis.recording.checks.check import Check
from analysis.signals.programme import Programme

MAINS_HZ = (50.0, 60.0)
N_HARMONICS = 6

SHORTEST_S, LONGEST_S = 0.5, 8.0
"""A shorter stretch resolves no line; a longer one tells no more."""

ENOUGH_S = 1.0

HUM_OVER_FLOOR = 30.0
"""A line this power ratio (15 dB) above its neighbourhood, in two harmonics or more of one
mains frequency, or 20 dB in one, is hum."""

LONE_OVER_FLOOR = 100.0

STEADY = 0.1
"""Least power ratio of the line's weakest to its strongest part of the stretch."""

PART_S = 0.7

HUM_DB = -46.0
"""Hum over sweep, in amplitude: above this it moves the bass curve at its frequency by
more than half a decibel (a 1.5 s window of a 6 s sweep weighs hum 12 times)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Hum:
    """Mains hum found in a quiet stretch.

    Attributes
    ----------
    lines_hz : tuple of float
        Empty where there is none that matters.
    level_db : float
        All lines together, re the sweep.
    listened : bool
        Whether there was a stretch long enough to look in.
    """

    lines_hz: tuple[float, ...]
    level_db: float
    listened: bool


def quiet_stretch(samples: Float, aligned: AlignedPasses, programme: Programme) -> Float:
    """Return a stretch without a sweep, as near the passes as it can be had.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        At the programme's sampling frequency.

    Returns
    -------
    ndarray, shape (m,)
        Before the passes or after them, the quieter of the two if both are long enough,
        without digital silence.
    """
    rate_hz = programme.sample_rate_hz
    begin = max(0, min(extracted.first for extracted in aligned.passes))
    end = max(extracted.first + extracted.samples.size for extracted in aligned.passes)
    n_most = round(LONGEST_S * rate_hz)
    stretches = [
        np.trim_zeros(samples[max(0, begin - n_most) : begin]),
        np.trim_zeros(samples[end : end + n_most]),
    ]
    enough = [one for one in stretches if one.size >= ENOUGH_S * rate_hz]
    if enough:
        return min(enough, key=lambda one: float(np.std(one)))
    return max(stretches, key=lambda one: one.size)


def find_hum(quiet: Float, aligned: AlignedPasses, sample_rate_hz: float) -> Hum:
    """Look for mains hum in a stretch without the sweep.

    Parameters
    ----------
    quiet : ndarray, shape (n,)
    aligned : AlignedPasses
        For the sweep's level.
    """
    if quiet.size < SHORTEST_S * sample_rate_hz:
        return Hum(lines_hz=(), level_db=-np.inf, listened=False)
    quiet = quiet - quiet.mean()
    window = np.hanning(quiet.size)
    n_fft = fft.next_fast_len(2 * quiet.size, real=True)
    power = np.abs(fft.rfft(quiet * window, n_fft)) ** 2
    sweep_rms = max(float(np.std(extracted.samples)) for extracted in aligned.passes)
    resolution_hz = sample_rate_hz / quiet.size
    for mains_hz in MAINS_HZ:
        lines = [
            _measure_line(power, mains_hz * order, sample_rate_hz / n_fft, resolution_hz)
            for order in range(1, N_HARMONICS + 1)
        ]
        strong = [
            line
            for line in lines
            if line[0] > HUM_OVER_FLOOR and _is_steady(quiet, line[2], sample_rate_hz)
        ]
        if not strong or (len(strong) == 1 and strong[0][0] < LONE_OVER_FLOOR):
            continue
        total = sum(line[1] for line in strong) * 2 / (window**2).sum() / n_fft
        level_db = 20 * np.log10(np.sqrt(total) / (sweep_rms + 1e-12) + 1e-12)
        if level_db > HUM_DB:
            lines_hz = tuple(line[2] for line in strong)
            return Hum(lines_hz=lines_hz, level_db=float(level_db), listened=True)
    return Hum(lines_hz=(), level_db=-np.inf, listened=True)


def _measure_line(
    power: Float, frequency_hz: float, bin_hz: float, resolution_hz: float
) -> tuple[float, float, float]:
    """Return a line's ratio to its neighbourhood, its power, and its frequency."""
    reach = max(round(2 * resolution_hz / bin_hz), round(0.6 / bin_hz))
    wide = reach + max(round(8 / bin_hz), round(6 * resolution_hz / bin_hz))
    centre = round(frequency_hz / bin_hz)
    if centre - wide < 1 or centre + wide >= power.size:
        return 0.0, 0.0, frequency_hz
    near = power[centre - reach : centre + reach + 1]
    around = np.concatenate(
        (power[centre - wide : centre - reach], power[centre + reach + 1 : centre + wide + 1])
    )
    floor = float(np.median(around)) / np.log(2) + 1e-30
    at = int(np.argmax(near))
    return float(near[at]) / floor, float(near.sum()), (centre - reach + at) * bin_hz


def _is_steady(quiet: Float, line_hz: float, sample_rate_hz: float) -> bool:
    """Say whether a line is there all through the stretch."""
    n_parts = min(max(int(quiet.size / (PART_S * sample_rate_hz)), 1), 6)
    n_part = quiet.size // n_parts
    parts = quiet[: n_parts * n_part].reshape(n_parts, n_part) * np.hanning(n_part)
    turn = np.exp(-2j * np.pi * line_hz * np.arange(n_part) / sample_rate_hz)
    power = np.abs(parts @ turn) ** 2
    return bool(power.min() > STEADY * power.max())


def check_hum(hum: Hum) -> Check:
    """Judge mains hum."""
    if not hum.listened:
        return Check(
            name="hum", verdict="pass", detail="no quiet stretch long enough to look for hum in"
        )
    if not hum.lines_hz:
        return Check(name="hum", verdict="pass", detail="no mains hum that matters")
    heard = ", ".join(f"{line_hz:.1f}" for line_hz in hum.lines_hz[:3])
    return Check(
        name="hum",
        verdict="warn",
        detail=f"mains hum at {heard} Hz, {hum.level_db:.0f} dB re the sweep: peaks and dips "
        "there are left out; look for a ground loop or a power supply near the microphone's "
        "cable",
    )
