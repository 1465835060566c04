r"""How loud a take was at the microphone, and what share of a day's sound dose it gave.

Conventions: a level *re full scale* is ten times the logarithm of the A-weighted mean
square of samples whose full scale is 1, so a 1 kHz sine at full scale has -3.0 dB. Sound
levels are in dB(A) re 20 µPa. A calibration ties the two together by one figure: the sound
level at which the A-weighted mean square would be 1.

The A-weighting is the closed form of IEC 61672-1, Annex E (second-hand),

.. math::
    A(f) = 20 \log_{10} \frac{f_4^2 f^4}
    {(f^2 + f_1^2) \sqrt{(f^2 + f_2^2)(f^2 + f_3^2)} (f^2 + f_4^2)} + 2.000\ \mathrm{dB}.

The shares follow from equal energy: 3 dB more halves the time.

References
----------
NIOSH, "Criteria for a Recommended Standard: Occupational Noise Exposure", publication
98-126, 1998: 85 dB(A) for 8 h, minutes = 480 / 2^((L - 85) / 3).
Recommendation ITU-T H.870, "Guidelines for safe listening devices/systems", 2022, with the
WHO: 80 dB(A) for 40 h a week for adults, 75 dB(A) for children (second-hand).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import fft

from analysis.basics.arrays import Float
from analysis.basics.decibel import amplitude_db, amplitude_from_db, power_db

POLES_HZ: Final = (20.598997, 107.65265, 737.86223, 12194.217)
"""IEC 61672-1, Annex E (second-hand)."""

AT_1_KHZ_DB: Final = 2.000
"""What makes the weighting 0 at 1 kHz; the same Annex."""

HOP_S: Final = 0.125
"""From one frame of the analysis to the next; a frame is twice as long."""

_FRAMES_AT_ONCE: Final = 64

SECOND_S: Final = 1.0
"""The highest level is taken over so long; a meter set to "slow" averages about as much."""

METER_STD_DB: Final = 1.5
"""One sigma of a simple sound level meter in a room: IEC 61672-1 allows class 2 about 1 dB
at 1 kHz and more elsewhere (from memory); the microphone's place and its uncorrected
response add to it. Common practice, no source."""

NIOSH_LEVEL_DBA: Final = 85.0
NIOSH_TIME_S: Final = 8 * 3600.0
NIOSH_EXCHANGE_DB: Final = 3.0

WHO_ADULT_DBA: Final = 80.0
WHO_CHILD_DBA: Final = 75.0
WHO_TIME_S: Final = 40 * 3600.0


@dataclass(frozen=True, kw_only=True, slots=True)
class RecordedLevel:
    """A-weighted levels of a recording, re full scale.

    Attributes
    ----------
    duration_s : float
        Of what was recorded, in seconds.
    mean_db : float
        Energy mean over the whole recording, in dB re full scale.
    highest_db : float
        Highest energy mean over any second, in dB re full scale; a sound that lasts
        exactly one second reads 0.3 dB low.
    """

    duration_s: float
    mean_db: float
    highest_db: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Calibration:
    """What full scale means in the room.

    Attributes
    ----------
    full_scale_dba : float
        Sound level at which the A-weighted mean square would be 1, in dB(A).
    std_db : float
        One sigma, in dB.
    """

    full_scale_dba: float
    std_db: float = METER_STD_DB

    def __post_init__(self) -> None:
        if not math.isfinite(self.full_scale_dba):
            msg = f"full_scale_dba {self.full_scale_dba} must be finite"
            raise ValueError(msg)
        if not 0 <= self.std_db < math.inf:
            msg = f"std_db {self.std_db} must be 0 or more, and finite"
            raise ValueError(msg)


@dataclass(frozen=True, kw_only=True, slots=True)
class Exposure:
    """The sound that reached the microphone.

    Attributes
    ----------
    duration_s : float
        In seconds.
    mean_dba, highest_dba : float
        Energy mean over all of it, and over the loudest second, in dB(A).
    std_db : float
        One sigma of both, in dB.
    niosh_day, who_week, who_child_week : float
        Share of the day's dose by NIOSH, and of the week's by WHO and ITU for adults and
        for children; 1 is all of it.
    """

    duration_s: float
    mean_dba: float
    highest_dba: float
    std_db: float
    niosh_day: float
    who_week: float
    who_child_week: float


def a_weighting_db(frequency_hz: ArrayLike) -> Float:
    """Return the A-weighting.

    Parameters
    ----------
    frequency_hz : array_like
        At least 0, any shape.

    Returns
    -------
    ndarray
        In dB, the same shape; 0 at 1 kHz, ``decibel.FLOOR_DB`` at DC.

    Examples
    --------
    >>> round(float(a_weighting_db(100.0)), 1)
    -19.1
    >>> round(float(a_weighting_db(1000.0)), 2) + 0.0, round(float(a_weighting_db(31.5)), 1)
    (0.0, -39.5)
    """
    square = np.asarray(frequency_hz, dtype=np.float64) ** 2
    f1, f2, f3, f4 = (pole**2 for pole in POLES_HZ)
    gain = f4 * square**2 / ((square + f1) * np.sqrt((square + f2) * (square + f3)))
    return amplitude_db(gain / (square + f4) * 10 ** (AT_1_KHZ_DB / 20))


def recorded_level(samples: NDArray[np.floating], *, sample_rate_hz: float) -> RecordedLevel:
    """Return the A-weighted levels of a recording.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel, full scale 1; NaN where nothing was delivered, which is left out.

    Raises
    ------
    ValueError
        If the samples have another shape, or none of them is finite.

    Notes
    -----
    The recording is cut into frames that overlap by half under a sine window, whose squares
    add up to 1, and each frame's energy is the weighted sum of its spectrum (Parseval).
    Frames blur the curve by 4 Hz: a tone of 20 Hz reads 0.8 dB high, one of 40 Hz 0.1, one of
    63 Hz 0.02 (measured).
    """
    values = np.asarray(samples)
    known = np.isfinite(values)
    if values.ndim != 1 or not known.any():
        msg = f"samples of shape {values.shape} must be (n,) and hold something finite"
        raise ValueError(msg)
    n_hop = round(HOP_S * sample_rate_hz)
    energies = _weighted_energies(np.where(known, values, 0.0), n_hop, sample_rate_hz)
    n_known = int(known.sum())
    n_window = max(round(SECOND_S / HOP_S), 1)
    sums = np.cumsum(np.pad(energies, (n_window, n_window - 1)))
    highest = max(float((sums[n_window:] - sums[:-n_window]).max()), 0.0)
    return RecordedLevel(
        duration_s=n_known / sample_rate_hz,
        mean_db=float(power_db(energies.sum() / n_known)),
        highest_db=float(power_db(highest / min(n_window * n_hop, n_known))),
    )


def _weighted_energies(values: Float, n_hop: int, sample_rate_hz: float) -> Float:
    """Return the A-weighted sum of squares of each frame, one frame every `n_hop` samples."""
    n_frame = 2 * n_hop
    n_after = -values.size % n_hop + n_hop
    padded = np.pad(values, (n_hop, n_after))
    frames = np.lib.stride_tricks.sliding_window_view(padded, n_frame)[::n_hop]
    window = np.sin(np.pi * (np.arange(n_frame) + 0.5) / n_frame)
    weight = amplitude_from_db(a_weighting_db(fft.rfftfreq(n_frame, 1 / sample_rate_hz)))
    energies = np.empty(frames.shape[0])
    for first in range(0, frames.shape[0], _FRAMES_AT_ONCE):
        some = slice(first, first + _FRAMES_AT_ONCE)
        spectrum = fft.rfft(frames[some] * window) * weight
        # Every bin but DC, which has no weight, stands for its mirror too.
        energies[some] = (np.abs(spectrum) ** 2).sum(axis=1) * (2 / n_frame)
    return energies


def calibration_by_meter(
    meter_dba: float, recorded_db: float, *, std_db: float = METER_STD_DB
) -> Calibration:
    """Return the calibration that a sound level meter beside the microphone gives.

    Parameters
    ----------
    meter_dba : float
        What it showed, in dB(A).
    recorded_db : float
        The A-weighted level re full scale that was recorded at the same time, in dB.
    std_db : float
        One sigma of the meter, in dB.

    Examples
    --------
    >>> calibration_by_meter(72.0, -30.0).full_scale_dba
    102.0
    """
    return Calibration(full_scale_dba=meter_dba - recorded_db, std_db=std_db)


def exposure_of(level: RecordedLevel, calibration: Calibration) -> Exposure:
    """Return the sound levels of a recording and its shares of the recommended doses."""
    mean_dba = level.mean_db + calibration.full_scale_dba
    return Exposure(
        duration_s=level.duration_s,
        mean_dba=mean_dba,
        highest_dba=level.highest_db + calibration.full_scale_dba,
        std_db=calibration.std_db,
        niosh_day=niosh_share(mean_dba, level.duration_s),
        who_week=who_share(mean_dba, level.duration_s, limit_dba=WHO_ADULT_DBA),
        who_child_week=who_share(mean_dba, level.duration_s, limit_dba=WHO_CHILD_DBA),
    )


def niosh_share(mean_dba: float, duration_s: float) -> float:
    """Return the share of a day's dose by NIOSH: 1 for 85 dB(A) over 8 h.

    Examples
    --------
    Three decibels more halve the time:

    >>> niosh_share(85.0, 8 * 3600.0), niosh_share(88.0, 4 * 3600.0)
    (1.0, 1.0)
    """
    over = (mean_dba - NIOSH_LEVEL_DBA) / NIOSH_EXCHANGE_DB
    return float(duration_s / NIOSH_TIME_S * 2.0**over)


def who_share(mean_dba: float, duration_s: float, *, limit_dba: float) -> float:
    """Return the share of a week's dose by WHO and ITU: 1 for the limit over 40 h.

    Examples
    --------
    Ten decibels more use up the week's dose in a tenth of the time:

    >>> who_share(80.0, 40 * 3600.0, limit_dba=80.0), who_share(90.0, 4 * 3600.0, limit_dba=80.0)
    (1.0, 1.0)
    """
    return float(duration_s / WHO_TIME_S * 10 ** ((mean_dba - limit_dba) / 10))
