"""The first arrival in an impulse response, and the gate around it.

Conventions: times are seconds on the response's own axis and need not fall on samples;
the gate is a function of continuous time, so that two responses are cut alike however
their arrivals fall between samples.
"""

from __future__ import annotations

import numpy as np
import scipy.fft as fft

from analysis.basics.arrays import Complex, Float
from analysis.signals.impulse_response import ImpulseResponse

BAND_HZ = (1500.0, 12_000.0)
"""Where a tweeter's arrival stands out and reflections are weaker than the direct sound."""

ONSET_SHARE = 0.4
"""The first arrival is where the envelope first reaches this share of its maximum: a
reflection may be the stronger by 8 dB, a ripple before the arrival is far below."""

PRE_S = 0.5e-3
"""The gate opens this long before the arrival, over its first three fifths."""

FALL_SHARE = 0.35
"""The last share of the gate over which it closes."""


def envelope(response: ImpulseResponse) -> Float:
    """Return the envelope of a response in `BAND_HZ`, or the part of it that was swept.

    Returns
    -------
    ndarray, shape (n,)
    """
    samples, rate_hz = response.samples, response.sample_rate_hz
    n_fft = fft.next_fast_len(samples.size + round(0.01 * rate_hz), real=True)
    spectrum = fft.rfft(samples, n_fft)
    octave = np.log2(np.maximum(fft.rfftfreq(n_fft, 1 / rate_hz), 1.0))
    high_hz = min(BAND_HZ[1], response.band_hz[1] / 1.6)
    low_hz = min(BAND_HZ[0], high_hz / 3)
    edge = np.log2(1.6)
    rise = np.clip((octave - np.log2(low_hz) + edge) / edge, 0, 1)
    fall = np.clip((np.log2(high_hz) + edge - octave) / edge, 0, 1)
    one_sided = np.zeros(n_fft, dtype=np.complex128)
    one_sided[: spectrum.size] = 2 * spectrum * np.sin(np.pi / 2 * rise * fall) ** 2
    return np.abs(fft.ifft(one_sided))[: samples.size]


def first_arrival_s(response: ImpulseResponse) -> float:
    """Return the time of the first arrival.

    Returns
    -------
    float
        The envelope's first peak of note, interpolated, on the response's axis.
    """
    height = envelope(response)
    at = int(np.argmax(height > ONSET_SHARE * height.max()))
    while at + 1 < height.size and height[at + 1] > height[at]:
        at += 1
    fraction = 0.0
    if 0 < at < height.size - 1:
        before, top, after = height[at - 1 : at + 2]
        bend = before - 2 * top + after
        fraction = 0.5 * float((before - after) / bend) if bend < 0 else 0.0
    return response.start_s + (at + fraction) / response.sample_rate_hz


def gate_weight(time_s: Float, length_s: float) -> Float:
    """Return the gate's weight at times counted from the arrival.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    length_s : float
        From the arrival to the gate's end.

    Returns
    -------
    ndarray, shape (n,)
        1 around the arrival, raised-cosine edges, 0 outside.

    Examples
    --------
    Open at the arrival, shut half a millisecond before it and at its end:

    >>> gate_weight(np.array([-0.5e-3, 0.0, 0.8e-3]), 0.8e-3).tolist()
    [0.0, 1.0, 0.0]
    """
    rise = np.clip((time_s + PRE_S) / (0.6 * PRE_S), 0, 1)
    fall = np.clip((length_s - time_s) / (FALL_SHARE * length_s), 0, 1)
    return (0.5 - 0.5 * np.cos(np.pi * rise)) * (0.5 - 0.5 * np.cos(np.pi * fall))


def gated_spectrum(
    response: ImpulseResponse, arrival_s: float, length_s: float, n_fft: int
) -> Complex:
    """Return the spectrum of the gated response, its phase counted from the arrival.

    Returns
    -------
    ndarray of complex, shape (n_fft // 2 + 1,)
    """
    rate_hz = response.sample_rate_hz
    first = int(np.floor((arrival_s - PRE_S - response.start_s) * rate_hz))
    index = first + np.arange(int(np.ceil((PRE_S + length_s) * rate_hz)) + 2)
    inside = (index >= 0) & (index < response.samples.size)
    time_s = response.start_s + index / rate_hz - arrival_s
    cut = np.where(inside, response.samples[np.clip(index, 0, response.samples.size - 1)], 0)
    spectrum = fft.rfft(cut * gate_weight(time_s, length_s), n_fft)
    omega = 2 * np.pi * fft.rfftfreq(n_fft, 1 / rate_hz)
    return np.asarray(spectrum * np.exp(-1j * omega * time_s[0]))


def gated_noise_spectra(
    response: ImpulseResponse, length_s: float, n_fft: int, *, most: int
) -> Complex:
    """Return spectra of the response's noise under the same gate, at many places.

    Parameters
    ----------
    most : int
        The largest number of places.

    Returns
    -------
    ndarray of complex, shape (n_places, n_fft // 2 + 1)
    """
    rate_hz = response.sample_rate_hz
    n_gate = int(np.ceil((PRE_S + length_s) * rate_hz)) + 2
    places = np.arange(0, response.noise.size - n_gate, n_gate)
    if places.size == 0 or most < 1:
        return np.zeros((0, n_fft // 2 + 1), dtype=np.complex128)
    places = places[:: max(1, places.size // most)][:most]
    windows = np.lib.stride_tricks.sliding_window_view(response.noise, n_gate)[places]
    weight = gate_weight(np.arange(n_gate) / rate_hz - PRE_S, length_s)
    omega = 2 * np.pi * fft.rfftfreq(n_fft, 1 / rate_hz)
    return np.asarray(fft.rfft(windows * weight, n_fft, axis=-1) * np.exp(1j * omega * PRE_S))
