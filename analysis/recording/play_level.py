r"""How loud to play: from bursts of noise, each a little louder, to the level that is enough.

Conventions: levels in dB re full scale; a signal's level is that of its mean square, its
peak level that of its highest sample; noise and signal are compared inside one band.

A burst whose peak level is the sweep's to be stands above the noise by less than the sweep
will, since noise has the higher crest factor :math:`C`: at equal peaks the sweep, a sine,
is stronger by :math:`C - 3.01` dB inside the band.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import scipy.fft as fft

from analysis.basics.arrays import Float

BAND_HZ: Final = (500.0, 2000.0)
"""Loudspeakers and ears are at their best there, tweeters and woofers at little risk."""

STEP_DB: Final = 6.0
"""Most between a burst and the next: four times the power, half again as loud."""

WANTED_DB: Final = 30.0
"""Sweep above the room's noise in the band: the averaged, compressed response then stands
50 dB and more above it. A talking voice in a quiet room: common practice, no source."""

HEARD_DB: Final = 6.0
"""A burst that much above the noise is no chance: its level can be trusted."""

SINE_CREST_DB: Final = 20 * math.log10(math.sqrt(2))


@dataclass(frozen=True, kw_only=True, slots=True)
class HeardBurst:
    """A burst of noise at the microphone.

    Attributes
    ----------
    peak_dbfs : float
        At which it was played.
    level_dbfs : float
        Recorded, in the band.
    snr_db : float
        Sweep over noise to be expected at the same peak level, in the band; minus
        infinity where the burst wasn't heard.
    """

    peak_dbfs: float
    level_dbfs: float
    snr_db: float


def band_level_dbfs(samples: Float, sample_rate_hz: float) -> float:
    """Return the level of a recording inside the band.

    Parameters
    ----------
    samples : ndarray, shape (n,)

    Returns
    -------
    float
        Minus infinity for silence.
    """
    if not samples.any():
        return -math.inf
    return 10 * math.log10(_mean_square(limit_to_band(samples, sample_rate_hz)))


def limit_to_band(samples: Float, sample_rate_hz: float) -> Float:
    """Return a recording with everything outside the band taken out."""
    spectrum = fft.rfft(samples)
    frequency_hz = fft.rfftfreq(samples.size, 1 / sample_rate_hz)
    spectrum[(frequency_hz < BAND_HZ[0]) | (frequency_hz > BAND_HZ[1])] = 0
    return np.asarray(fft.irfft(spectrum, samples.size))


def _mean_square(samples: Float) -> float:
    """Return the mean square, never quite zero."""
    return float(np.mean(samples**2)) + 1e-30


def find_burst(
    recorded: Float,
    burst: Float,
    *,
    noise_dbfs: float,
    sample_rate_hz: float,
) -> HeardBurst:
    """Find a burst in a recording, and say how far it stands above the noise.

    Parameters
    ----------
    recorded : ndarray, shape (n,)
        Longer than the burst; its delay is unknown.
    burst : ndarray, shape (m,)
        As played.
    noise_dbfs : float
        Level of the room's noise in the band.

    Raises
    ------
    ValueError
        If the recording is shorter than the burst.
    """
    if recorded.size < burst.size:
        msg = f"a recording of {recorded.size} samples can't hold a burst of {burst.size}"
        raise ValueError(msg)
    energy = np.cumsum(np.concatenate(([0.0], limit_to_band(recorded, sample_rate_hz) ** 2)))
    loudest = float((energy[burst.size :] - energy[: -burst.size]).max()) / burst.size + 1e-30
    peak_dbfs = 20 * math.log10(float(np.abs(burst).max()))
    crest_db = peak_dbfs - 10 * math.log10(_mean_square(burst))
    noise = 10 ** (noise_dbfs / 10)
    heard = loudest > noise * 10 ** (HEARD_DB / 10)
    snr_db = 10 * math.log10((loudest - noise) / noise) if heard else -math.inf
    return HeardBurst(
        peak_dbfs=peak_dbfs,
        level_dbfs=10 * math.log10(loudest),
        snr_db=snr_db + crest_db - SINE_CREST_DB,
    )


def next_peak_dbfs(heard: HeardBurst, *, wanted_db: float, cap_dbfs: float) -> float | None:
    """Return the peak level to try next, or None where this one is enough or the cap.

    Parameters
    ----------
    wanted_db : float
        Sweep over noise.

    Returns
    -------
    float or None
        At most `STEP_DB` above the last.

    Examples
    --------
    Nine decibels are missing, but no step is larger than six:

    >>> heard = HeardBurst(peak_dbfs=-40.0, level_dbfs=-60.0, snr_db=21.0)
    >>> next_peak_dbfs(heard, wanted_db=30.0, cap_dbfs=-12.0)
    -34.0
    """
    missing_db = wanted_db - heard.snr_db
    if missing_db <= 0 or heard.peak_dbfs >= cap_dbfs - 1e-6:
        return None
    return min(heard.peak_dbfs + min(missing_db, STEP_DB), cap_dbfs)
