"""Power of passes by third octave and short time, by which foreign sound is found.

Conventions: a pass is a cut of `analysis.signals.deconvolution.cut_pass`; short spectra are
summed into third octaves, axes (pass, band, frame), and a
*cell* is one band in one frame; time of a frame counts from the
start of the sweep.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft as fft
from numpy.typing import NDArray

from analysis.basics.arrays import Complex, Float
from analysis.signals.deconvolution import LEAD_S

FRAME_S = 0.043
"""Short enough to place a click within a twelfth of an octave of a 6 s sweep."""

FLOOR_RANGE = 1e-9
"""The floor is never taken lower than this share of the loudest cell: numbers end there."""

ROUNDING = 10.0
"""Rounding of a quiet sound is no noise but distortion: its lines stand so far above the
mean, in power."""

FEWEST_BINS = 8
"""Of a band in which two passes are compared: of fewer, unlike ones agree by chance."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Spectrogram:
    """Power of each pass by third octave and short time.

    Attributes
    ----------
    power : ndarray, shape (n_passes, n_bands, n_frames)
    low_hz, high_hz : ndarray, shape (n_bands,)
        Band edges.
    time_s : ndarray, shape (n_frames,)
        Middle of each frame, from the start of the sweep.
    floor : ndarray, shape (n_bands,)
        Mean power of the stationary noise.
    rounding_power : ndarray, shape (n_bands,)
        Power of the rounding of the samples.
    recorded : ndarray of bool, shape (n_passes, n_frames)
        Whether the frame comes from the recording.
    band_bins : ndarray of int, shape (n_bands + 1,)
        Edges of the bands in bins of a frame's spectrum.
    n_frame : int
        Samples of a frame; frames overlap by half.
    cuts : tuple of ndarray
        The passes.
    """

    power: Float
    low_hz: Float
    high_hz: Float
    time_s: Float
    floor: Float
    rounding_power: Float
    recorded: NDArray[np.bool_]
    bin_hz: float
    band_bins: NDArray[np.intp]
    n_frame: int
    cuts: tuple[Float, ...]


def band_spectrogram(
    cuts: list[Float], *, sample_rate_hz: float, recorded: list[slice], rounding_step: float = 0.0
) -> Spectrogram:
    """Sum short spectra into third octaves.

    Parameters
    ----------
    cuts : list of ndarray, shape (n,)
        The passes.
    recorded : list of slice
        The part of each cut that comes from the recording.
    rounding_step : float
        To which the samples were rounded.
    """
    n_frame = fft.next_fast_len(round(FRAME_S * sample_rate_hz), real=True)
    hop = n_frame // 2
    window = np.hanning(n_frame).astype(np.float32)
    bin_hz = sample_rate_hz / n_frame
    centres_hz = 1000 * 10 ** (np.arange(-12, 14) / 10)
    centres_hz = centres_hz[centres_hz * 10**0.05 < 0.48 * sample_rate_hz]
    edges = np.append(centres_hz * 10**-0.05, centres_hz[-1] * 10**0.05)
    bins = np.maximum(np.round(edges / bin_hz).astype(int), 1)
    keep = np.diff(bins, prepend=0) > 0
    edges, bins = edges[keep], bins[keep]
    power = []
    for cut in cuts:
        frames = np.lib.stride_tricks.sliding_window_view(cut.astype(np.float32), n_frame)[::hop]
        spectra = fft.rfft(frames * window, axis=-1)
        energy = spectra.real**2 + spectra.imag**2
        power.append(np.add.reduceat(energy, bins, axis=-1)[:, :-1].T)
    stacked = np.array(power, dtype=np.float64)
    least = np.diff(bins) * float((window**2).sum()) * rounding_step**2 / 12
    least = np.maximum(least, FLOOR_RANGE * float(stacked.max()))
    centre = np.arange(stacked.shape[-1]) * hop + n_frame / 2
    # A frame across the recording's edge would hear its jump to nothing as a click.
    half = n_frame / 2
    filled = np.array(
        [(centre >= part.start + half) & (centre <= part.stop - half) for part in recorded]
    )
    return Spectrogram(
        power=stacked,
        low_hz=edges[:-1],
        high_hz=edges[1:],
        time_s=np.asarray(centre / sample_rate_hz - LEAD_S, dtype=np.float64),
        floor=np.maximum(_estimate_noise_floor(stacked, filled), ROUNDING * least),
        rounding_power=least,
        recorded=filled,
        bin_hz=bin_hz,
        band_bins=bins,
        n_frame=n_frame,
        cuts=tuple(cuts),
    )


def _estimate_noise_floor(power: Float, filled: NDArray[np.bool_]) -> Float:
    """Return the mean noise power of each band from the lower half of its cells."""
    flat = np.where(filled[:, None, :], power, np.nan).transpose(1, 0, 2)
    flat = flat.reshape(power.shape[1], -1)
    low = np.nanquantile(flat, 0.3, axis=-1)
    # The 30 % point of an exponential variable is 0.357 of its mean; of a band of many
    # bins it is nearly the mean. The lower figure errs toward a higher floor.
    return np.asarray(low / 0.357)


def band_similarity(
    spectrogram: Spectrogram, first: int, second: int, *, frame: int, bands: NDArray[np.bool_]
) -> float:
    """Return how alike two passes are in some bands of a frame, but for the phase of each band.

    Parameters
    ----------
    bands : ndarray of bool, shape (n_bands,)

    Returns
    -------
    float
        0 to 1: what a loudspeaker or an amplifier makes of the sweep comes back in every
        pass, foreign sound doesn't. 0 where the bands are too narrow.
    """
    spectra = [_frame_spectrum(spectrogram, at, frame) for at in (first, second)]
    shared = total = 0.0
    for low, high in zip(
        spectrogram.band_bins[:-1][bands], spectrogram.band_bins[1:][bands], strict=True
    ):
        if high - low < FEWEST_BINS:
            continue
        one, other = (spectrum[low:high] for spectrum in spectra)
        shared += float(np.abs(np.vdot(one, other)))
        total += float(np.linalg.norm(one) * np.linalg.norm(other))
    return shared / total if total else 0.0


def _frame_spectrum(spectrogram: Spectrogram, at: int, frame: int) -> Complex:
    """Return the short spectrum of a pass at a frame."""
    n_frame = spectrogram.n_frame
    begin = frame * (n_frame // 2)
    return np.asarray(fft.rfft(spectrogram.cuts[at][begin : begin + n_frame] * np.hanning(n_frame)))
