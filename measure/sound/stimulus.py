"""The sweep programme: what may be asked for, and its samples.

Conventions: axes (channel, time); channel 1 is the left loudspeaker; full scale is 1.
"""

from __future__ import annotations

import hashlib
import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from analysis.signals.programme import Programme
from analysis.signals.sweep import Sweep, sweep_samples
from measure.errors import StimulusError
from measure.safety.limits import TOP_TAPER_DB

Float = NDArray[np.float64]

FULL_SCALE_24: Final = 2**23

LEAD_IN_S: Final = 1.0
"""Silence first: time for a sleepy player or amplifier to wake."""

DEFAULT_STOP_HZ: Final = 22_000.0
DEFAULT_STOP_OF_RATE: Final = 0.46
"""The default end is the lower of the two: 0.46 of 44.1 kHz leaves a player's
reconstruction filter 1.8 kHz below half the rate."""

FEWEST_OCTAVES: Final = 2.0
"""The fades and the taper take an octave and a half."""

RATE_RANGE_HZ: Final = (44_100, 192_000)
DURATION_RANGE_S: Final = (0.1, 60.0)
TAIL_RANGE_S: Final = (0.2, 10.0)
LEVEL_RANGE_DBFS: Final = (-80.0, 0.0)
MOST_PASSES: Final = 16


def default_stop_hz(rate_hz: int) -> float:
    """Return where a sweep ends unless told otherwise, in Hz."""
    return min(DEFAULT_STOP_HZ, DEFAULT_STOP_OF_RATE * rate_hz)


def make_programme(
    *,
    start_hz: float,
    stop_hz: float,
    duration_s: float,
    level_dbfs: float,
    rate_hz: int,
    order: str,
    tail_s: float,
) -> Programme:
    """Return the programme asked for, or refuse what would be useless.

    Parameters
    ----------
    start_hz, stop_hz : float
        Two octaves apart or more, below half the rate.
    duration_s : float
        Length of a pass, 0.1 to 60 s.
    level_dbfs : float
        Peak, -80 to 0 dBFS; whether it is safe is `measure.safety.limits`'s to say.
    rate_hz : int
        Sampling frequency, 44 100 to 192 000 Hz.
    order : str
        Up to 16 letters L and R.
    tail_s : float
        Silence after a pass, 0.2 to 10 s.

    Returns
    -------
    Programme

    Raises
    ------
    StimulusError
        Naming the option, its value and what is allowed.
    """
    _require("--rate", rate_hz, RATE_RANGE_HZ, "Hz")
    _require("--seconds", duration_s, DURATION_RANGE_S, "s")
    _require("--tail", tail_s, TAIL_RANGE_S, "s")
    _require("--level", level_dbfs, LEVEL_RANGE_DBFS, "dBFS")
    _require_band(start_hz, stop_hz, rate_hz)
    _require_order(order)
    sweep = Sweep(
        start_hz=start_hz,
        stop_hz=stop_hz,
        duration_s=duration_s,
        level_dbfs=level_dbfs,
        top_taper_db=TOP_TAPER_DB,
    )
    return Programme(
        sweep=sweep, order=order, sample_rate_hz=rate_hz, lead_in_s=LEAD_IN_S, tail_s=tail_s
    )


def _require(option: str, value: float, limits: tuple[float, float], unit: str) -> None:
    """Refuse a value outside its limits, and one that is no number."""
    if not limits[0] <= value <= limits[1]:
        msg = f"{option} {value:g} must lie from {limits[0]:g} to {limits[1]:g} {unit}"
        raise StimulusError(msg)


def _require_band(start_hz: float, stop_hz: float, rate_hz: int) -> None:
    """Refuse a band that is empty, too narrow, or above what the rate can hold."""
    if not stop_hz < rate_hz / 2:
        msg = f"--end {stop_hz:g} Hz must lie below half the rate, {rate_hz / 2:g} Hz"
        raise StimulusError(msg)
    if not 0 < start_hz < stop_hz:
        msg = f"--start {start_hz:g} Hz must lie above 0 and below --end {stop_hz:g} Hz"
        raise StimulusError(msg)
    if math.log2(stop_hz / start_hz) < FEWEST_OCTAVES:
        msg = f"--end {stop_hz:g} Hz must lie at least {FEWEST_OCTAVES:g} octaves above --start "
        msg += f"{start_hz:g} Hz"
        raise StimulusError(msg)


def _require_order(order: str) -> None:
    """Refuse an order that isn't made of a few L and R."""
    if not order or set(order) - {"L", "R"} or len(order) > MOST_PASSES:
        msg = f"--order {order!r} must be 1 to {MOST_PASSES} letters L and R, such as LRRL"
        raise StimulusError(msg)


def programme_samples(programme: Programme) -> Float:
    """Return the programme's stereo samples, rounded to 24 bits.

    Parameters
    ----------
    programme : Programme

    Returns
    -------
    ndarray, shape (2, n)

    Notes
    -----
    Rounding goes without dither: at -20 dBFS its error is 126 dB below the sweep and
    white (measured; see the tests), far below any room, and the pauses stay digital
    silence.
    """
    rate_hz = programme.sample_rate_hz
    samples = np.zeros((2, round(programme.duration_s * rate_hz)))
    one_pass = sweep_samples(programme.sweep, sample_rate_hz=rate_hz)
    one_pass = np.round(one_pass * FULL_SCALE_24) / FULL_SCALE_24
    # At 0 dBFS the positive peak would need one step more than 24 bits have.
    np.minimum(one_pass, 1 - 1 / FULL_SCALE_24, out=one_pass)
    for side, start_s in zip(programme.order, programme.starts_s, strict=True):
        first = round(start_s * rate_hz)
        samples["LR".index(side), first : first + one_pass.size] = one_pass
    return samples


def checksum(samples: Float) -> str:
    """Return the SHA-256 of samples as 24-bit integers, whatever file they came from.

    Parameters
    ----------
    samples : ndarray, shape (2, n)

    Returns
    -------
    str
        Hexadecimal; of little-endian 32-bit integers from -2**23 to 2**23 - 1, all of
        channel 1 and then all of channel 2.
    """
    whole = np.round(samples * FULL_SCALE_24).astype("<i4")
    return hashlib.sha256(whole.tobytes()).hexdigest()
