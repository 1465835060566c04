"""Checks of the recording's level and rate, the loudspeakers' distortion, and the room file.

Conventions: levels in dB re full scale; left minus right positive where left is farther.
"""

from __future__ import annotations

import numpy as np

from analysis.basics.arrays import Float
from analysis.basics.uncertainty import COVERAGE_FACTOR
from analysis.recording.alignment import AlignedPasses
from analysis.recording.checks.check import Check
from analysis.recording.dropouts.zero_blocks import quantisation_step
from analysis.recording.responses import SideResponse
from analysis.signals.harmonics import HarmonicLevel, exclude_gaps, harmonic_levels
from analysis.signals.programme import Programme
from analysis.signals.sweep import Sweep

QUIET_DBFS = -72.0
"""Below this RMS a 16-bit file keeps less than 26 dB over its rounding noise."""

TOO_QUIET_STEPS_DB = 12.0
"""Sweep over rounding noise: less than this is no recording."""

DISTORTION_PERCENT, DISTORTION_FAIL_PERCENT = 5.0, 30.0
"""Bass of small loudspeakers reaches some per cent at normal level: common practice, no
source; overload of an input or amplifier goes far beyond."""

GEOMETRY_M = 0.05
"""Acoustic and taped difference may differ by this before something is exchanged."""


def check_level(samples: Float, aligned: AlignedPasses) -> Check:
    """Judge whether the recording uses enough of its range."""
    loudest = max(float(np.sqrt(np.mean(extracted.samples**2))) for extracted in aligned.passes)
    level_dbfs = 20 * np.log10(loudest + 1e-12)
    quantum = quantisation_step(samples)
    over_db = level_dbfs - 20 * np.log10(quantum / np.sqrt(12)) if quantum else np.inf
    if over_db < TOO_QUIET_STEPS_DB:
        verdict = "fail"
    elif level_dbfs < QUIET_DBFS:
        verdict = "warn"
    else:
        return Check(
            name="too_quiet", verdict="pass", detail=f"sweep recorded at {level_dbfs:.0f} dBFS RMS"
        )
    return Check(
        name="too_quiet",
        verdict=verdict,
        detail=f"the sweep is only {level_dbfs:.0f} dBFS RMS in the file: turn the microphone's "
        "gain up (not the loudspeakers) and record again",
    )


def check_resampled(recorded_hz: float, programme: Programme) -> Check:
    """Say whether the recording had to be resampled, and what that cost."""
    if recorded_hz == programme.sample_rate_hz:
        return Check(
            name="resampled", verdict="pass", detail=f"recorded at {recorded_hz:.0f} Hz, as played"
        )
    text = f"recorded at {recorded_hz:.0f} Hz, resampled to {programme.sample_rate_hz} Hz"
    if programme.sweep.stop_hz * 0.95 > 0.46 * recorded_hz:
        lost = f"{0.46 * recorded_hz:.0f} Hz"
        verdict = "pass" if recorded_hz >= 44_000 else "warn"
        return Check(name="resampled", verdict=verdict, detail=f"{text}; used up to {lost}")
    return Check(name="resampled", verdict="pass", detail=text)


def measure_distortion(
    sides: tuple[SideResponse | None, SideResponse | None],
    arrivals_s: tuple[float, float],
    sweep: Sweep,
    *,
    clock_ratio: float,
) -> tuple[tuple[str, HarmonicLevel], ...]:
    """Return side and harmonic of each side that was heard.

    Parameters
    ----------
    arrivals_s : tuple of float
        First arrival of each, in seconds; 0 where it isn't known.
    clock_ratio : float
        Recorder seconds per player second.
    """
    found = []
    for name, side, at_s in zip(("left", "right"), sides, arrivals_s, strict=True):
        if side is None:
            continue
        levels = harmonic_levels(
            np.concatenate((side.anticausal, side.response.samples)),
            sample_rate_hz=side.response.sample_rate_hz,
            start_s=side.anticausal_start_s,
            sweep=sweep,
            arrival_s=at_s,
            noise=side.response.noise,
            clock_ratio=clock_ratio,
        )
        found += [(name, exclude_gaps(level, side.response.gaps_hz)) for level in levels]
    return tuple(found)


def worst_harmonic(
    distortion: tuple[tuple[str, HarmonicLevel], ...],
) -> tuple[float, float, int] | None:
    """Return the largest harmonic above the noise.

    Parameters
    ----------
    distortion : tuple of (str, HarmonicLevel)
        Side and harmonic.

    Returns
    -------
    tuple of (float, float, int) or None
        Per cent of the fundamental, frequency in Hz, and order; None if noise hides all.
    """
    worst: tuple[float, float, int] | None = None
    for _, level in distortion:
        # The lower of the two: a dip of the room at the fundamental makes no distortion.
        level_db = np.minimum(level.level_db, level.source_level_db)
        level_db = np.where(level.is_bound, -np.inf, level_db)
        # Two neighbouring bands must agree: one alone may be noise.
        both_db = np.minimum(level_db[:-1], level_db[1:])
        if both_db.size == 0 or not np.isfinite(both_db.max()):
            continue
        at = int(np.argmax(both_db))
        percent = 100 * 10 ** (float(both_db[at]) / 20)
        if worst is None or percent > worst[0]:
            worst = (percent, float(level.frequency_hz[at]), level.order)
    return worst


def check_distortion(worst: tuple[float, float, int] | None) -> Check:
    """Judge harmonic distortion.

    Parameters
    ----------
    worst : tuple of (per cent, frequency in Hz, order) or None
        The largest harmonic that stands above the noise.
    """
    if worst is None:
        return Check(name="distortion", verdict="pass", detail="no harmonic stands above the noise")
    percent, frequency_hz, order = worst
    text = f"harmonic {order} reaches {percent:.1f} % at {frequency_hz:.0f} Hz"
    if percent < DISTORTION_PERCENT:
        return Check(name="distortion", verdict="pass", detail=text)
    return Check(
        name="distortion",
        verdict="warn" if percent < DISTORTION_FAIL_PERCENT else "fail",
        detail=f"{text}: something is overloaded, play or record more quietly and compare",
    )


def exchanged_sides_check() -> Check:
    """Warn of a room file whose left loudspeaker stands to the right of the right one."""
    return Check(
        name="geometry",
        verdict="warn",
        detail="in the room file the left loudspeaker stands to the right of the right one, "
        "facing them from the seat: left and right exchanged? x_m counts from the left wall",
    )


def have_opposite_signs(one: tuple[float, float], other: tuple[float, float]) -> bool:
    """Return whether two values have opposite signs beyond two sigma of each.

    Parameters
    ----------
    one, other : tuple of float
        Value and one sigma.
    """
    sure = all(abs(value) > COVERAGE_FACTOR * std for value, std in (one, other))
    return sure and one[0] * other[0] < 0


def check_geometry(
    acoustic_m: float | None, acoustic_std_m: float, taped_m: float | None, taped_std_m: float
) -> Check:
    """Compare the acoustic left-minus-right distance with the taped one."""
    if taped_m is None:
        return Check(name="geometry", verdict="pass", detail="no room file to compare with")
    if acoustic_m is None:
        return Check(name="geometry", verdict="pass", detail="no arrival to compare with")
    apart_m = abs(acoustic_m - taped_m)
    opposite = have_opposite_signs((acoustic_m, acoustic_std_m), (taped_m, taped_std_m))
    text = (
        f"left minus right is {acoustic_m * 1e3:+.1f} mm by sound and {taped_m * 1e3:+.0f} mm by "
        "the room file"
    )
    if opposite or apart_m > GEOMETRY_M:
        return Check(
            name="geometry",
            verdict="warn",
            detail=f"{text}: an old place stands there, or left and right are exchanged",
        )
    return Check(name="geometry", verdict="pass", detail=text)
