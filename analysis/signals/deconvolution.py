r"""From the recording of a pass to its transfer function and impulse response.

Conventions: a pass is cut from the recording with ``LEAD_S`` before its sweep and
its tail after; its spectrum is one-sided (`scipy.fft.rfft`); a response is circular
over the length of the cut, so what precedes the arrival, distortion and noise, wraps
to its end.

The division is :math:`H = Y X^* / (|X|^2 + \epsilon)`. :math:`\epsilon` is zero-phase
and the same for both loudspeakers, so it moves no arrival. Inside the swept band it
is ``IN_BAND_DB`` below the band's weakest part, small enough to change the level by
less than 0.001 dB; over a third of an octave at each end it rises until it holds
the division down to nothing outside, where :math:`|X|` is only leakage and dividing
by it would raise noise without limit.

References
----------
ISO 18233:2006, annex B (second-hand: the text was not seen): linear deconvolution,
distortion at negative times, discarded.
A. Farina, 122nd AES Convention, paper 7121, 2007 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy.fft as fft

from analysis.basics.arrays import Complex, Float
from analysis.signals.sweep import Sweep, sweep_samples

LEAD_S = 0.05
"""Cut before a pass: a first arrival may come so much earlier than the strongest one."""

IN_BAND_DB = -80.0
EDGE_OCTAVES = 1 / 3


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class InverseSweep:
    """The regularised inverse of a sweep as the recorder's clock saw it.

    Attributes
    ----------
    spectrum : ndarray of complex, shape (n_fft // 2 + 1,)
    """

    spectrum: Complex
    n_fft: int
    sample_rate_hz: float

    @property
    def frequency_hz(self) -> Float:
        """Frequency of each bin, in Hz."""
        return fft.rfftfreq(self.n_fft, 1 / self.sample_rate_hz)


@lru_cache(maxsize=4)
def inverse_sweep(
    sweep: Sweep, *, sample_rate_hz: float, n_fft: int, clock_ratio: float = 1.0
) -> InverseSweep:
    """Return the inverse spectrum that undoes a sweep recorded at a clock ratio.

    Parameters
    ----------
    n_fft : int
        Length of the transform, in samples.
    clock_ratio : float
        Recorder seconds per player second.

    Returns
    -------
    InverseSweep
        Kept for the next call with the same arguments.
    """
    played = sweep_samples(sweep, sample_rate_hz=sample_rate_hz, clock_ratio=clock_ratio)
    swept = fft.rfft(played, n_fft)
    frequency_hz = fft.rfftfreq(n_fft, 1 / sample_rate_hz)
    power = swept.real**2 + swept.imag**2
    spectrum: Complex = np.asarray(
        np.conj(swept) / (power + _regularise(power, frequency_hz, sweep)), dtype=np.complex128
    )
    spectrum.flags.writeable = False
    return InverseSweep(spectrum=spectrum, n_fft=n_fft, sample_rate_hz=sample_rate_hz)


def _regularise(power: Float, frequency_hz: Float, sweep: Sweep) -> Float:
    """Return epsilon: tiny in band, as large as the band's power outside."""
    inside = (frequency_hz > sweep.start_hz * 1.3) & (frequency_hz < sweep.stop_hz / 1.05)
    # One bin in 61 is enough to know the extremes of so smooth a spectrum.
    some = power[inside][::61] if np.count_nonzero(inside) > 6100 else power[inside]
    weakest, strongest = float(np.quantile(some, 0.02)), float(some.max())
    octaves = np.log2(np.maximum(frequency_hz, 1e-3))
    below = (np.log2(sweep.start_hz) + EDGE_OCTAVES - octaves) / EDGE_OCTAVES
    above = (octaves - np.log2(sweep.stop_hz) + EDGE_OCTAVES / 4) / (EDGE_OCTAVES / 4)
    outside = np.clip(np.maximum(below, above), 0, 2) / 2
    low_db, high_db = 10 * np.log10(weakest) + IN_BAND_DB, 10 * np.log10(strongest) + 20
    return np.asarray(10 ** ((low_db + (high_db - low_db) * outside**2) / 10))


def cut_pass(
    samples: Float, sample_rate_hz: float, begin_s: float, *, length_s: float
) -> tuple[Float, int, slice]:
    """Cut a pass out of the recording, with zeros where the recording doesn't reach.

    Parameters
    ----------
    samples : ndarray, shape (n,)
    begin_s : float
        Start of the pass's sweep, in recorder seconds.
    length_s : float
        Length of sweep and tail, in seconds.

    Returns
    -------
    cut : ndarray, shape (m,)
    first : int
        Index of ``cut[0]`` in the recording; may be negative.
    present : slice
        The part of `cut` that comes from the recording.
    """
    first = round((begin_s - LEAD_S) * sample_rate_hz)
    n_cut = round((length_s + LEAD_S) * sample_rate_hz)
    cut = np.zeros(n_cut)
    low, high = max(0, first), min(samples.size, first + n_cut)
    present = slice(max(0, low - first), max(0, high - first))
    if high > low:
        cut[present] = samples[low:high]
    return cut, first, present


def advance_spectrum(spectrum: Complex, advance_s: float, inverse: InverseSweep) -> Complex:
    """Return the spectrum of a response brought forward by `advance_s` seconds.

    Examples
    --------
    >>> inverse = InverseSweep(spectrum=np.ones(5, complex), n_fft=8, sample_rate_hz=4.0)
    >>> pulse = fft.rfft([0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0])
    >>> int(np.argmax(fft.irfft(advance_spectrum(pulse, 0.5, inverse), 8)))
    1
    """
    step = np.exp(2j * np.pi * advance_s * inverse.sample_rate_hz / inverse.n_fft)
    # Powers of one step by blocks: a complex exponential a bin would cost as much as
    # the transform.
    n_bins = spectrum.size
    block = 1024
    fine = step ** np.arange(block)
    coarse = (step**block) ** np.arange(-(-n_bins // block))
    return np.asarray(spectrum * (coarse[:, None] * fine).reshape(-1)[:n_bins])


def response_slice(
    spectrum: Complex, inverse: InverseSweep, *, start_s: float, stop_s: float
) -> Float:
    """Return a stretch of the circular response, negative times from its end.

    Parameters
    ----------
    spectrum : ndarray of complex
        Transfer function.
    start_s, stop_s : float
        The stretch, in seconds from the start of the cut.

    Returns
    -------
    ndarray, shape (n,)
    """
    circular = fft.irfft(spectrum, inverse.n_fft)
    first, last = round(start_s * inverse.sample_rate_hz), round(stop_s * inverse.sample_rate_hz)
    return np.take(circular, np.arange(first, last), mode="wrap")
