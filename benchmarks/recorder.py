r"""A simulated player, room and recorder: recordings whose truth is known.

Conventions: the recorder keeps true time and the player's clock is off, so an impulse
response given in recorder samples needs no stretching and stays the exact truth. A clock
of +ppm means that the recorder counts more samples than the player plays. Index 0 of a
response is the moment of emission. Signal-to-noise ratio is the RMS of the recorded
sweeps (over the time in which one is played) over the RMS of the noise at the microphone.

Two paths lead to the same recording: `record` evaluates each pass in closed form on the
recorder's clock, without any resampling; `record_played` takes the samples of a stereo
file, as a player does, and interpolates between them.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import fft
from scipy.signal import oaconvolve

from analysis.signals.programme import Programme
from analysis.signals.sweep import sweep_samples

Float = NDArray[np.float64]
Distortion = Callable[[Float], Float]

PINK_FROM_HZ = 10.0
"""Below this the pink noise is flat: a microphone doesn't go lower, and the RMS of noise
that rises for ever would say nothing about the band of the sweep."""

OVERSAMPLING = 4
"""A distorting loudspeaker is simulated at this multiple of the rate, which holds a
polynomial's products up to the seventh order of a sweep that ends at Nyquist."""


def record(
    programme: Programme,
    responses: ArrayLike,
    *,
    sample_rate_hz: float | None = None,
    clock_ppm: float = 0.0,
    snr_db: float | None = None,
    noise: str = "pink",
    rng: np.random.Generator | None = None,
    start_s: float = 1.0,
    extra_s: float = 1.0,
    latency_s: float = 0.0,
    gain: float = 1.0,
    distortion: Distortion | None = None,
) -> Float:
    """Return what a microphone records of the programme, exact on the recorder's clock.

    Parameters
    ----------
    programme : Programme
    responses : array_like, shape (2, n) or (n_passes, 2, n)
        Left and right impulse response at the microphone, sampled by the recorder; for each
        pass its own where the microphone moves in between.
    sample_rate_hz : float, optional
        The recorder's rate; the programme's if not given.
    clock_ppm : float
        How much faster than the player's the recorder's clock runs, in 1e-6.
    snr_db : float, optional
        RMS of the recorded sweeps over RMS of the noise, in dB; without it no noise.
    noise : {"pink", "white"}
    rng : numpy.random.Generator, optional
        Needed for noise.
    start_s, extra_s : float
        Room noise before the programme's first sample and after its last, in seconds.
    latency_s : float
        A constant delay of player and recorder, in seconds.
    gain : float
        From the microphone to the file, for sweep and noise alike.
    distortion : callable, optional
        What both loudspeakers do to the signal before the room hears it, memoryless.

    Returns
    -------
    ndarray, shape (n,)
    """
    responses = np.asarray(responses, dtype=float)
    rate_hz = float(sample_rate_hz or programme.sample_rate_hz)
    ratio = 1 + clock_ppm * 1e-6
    n_samples = round((start_s + latency_s + programme.duration_s * ratio + extra_s) * rate_hz)
    heard = np.zeros(n_samples)
    playing = np.zeros(n_samples, dtype=bool)
    every = np.arange(len(programme.order))
    groups = [(responses, every)]
    if responses.ndim == 3:
        groups = [(own, every[at : at + 1]) for at, own in enumerate(responses)]
    for which, side, response in (
        (which, side, row) for pair, which in groups for side, row in zip("LR", pair, strict=True)
    ):
        played = np.zeros(n_samples)
        for index in which:
            letter, pass_s = programme.order[index], programme.starts_s[index]
            if letter == side:
                at_s = start_s + latency_s + pass_s * ratio
                first, samples = _pass(programme, at_s, rate_hz, ratio, distortion)
                samples = samples[: n_samples - first]
                played[first : first + samples.size] = samples
                playing[first : first + samples.size] = True
        heard += oaconvolve(played, response)[:n_samples]
    return gain * _with_noise(heard, playing, rate_hz, snr_db, noise, rng)


def _pass(
    programme: Programme,
    at_s: float,
    rate_hz: float,
    ratio: float,
    distortion: Distortion | None,
) -> tuple[int, Float]:
    """Return the first sample inside a pass that starts at `at_s`, and the pass."""
    first = math.ceil(at_s * rate_hz - 1e-9)
    times = 1 if distortion is None else OVERSAMPLING
    samples = sweep_samples(
        programme.sweep,
        sample_rate_hz=rate_hz * times,
        clock_ratio=ratio,
        advance_s=max(first / rate_hz - at_s, 0.0),
    )
    if distortion is None:
        return first, samples
    return first, _decimated(distortion(samples), times)


def _decimated(samples: Float, times: int) -> Float:
    """Return every `times`-th sample of the signal limited to the lower rate's band."""
    n_low = fft.next_fast_len(samples.size // times + 4096, real=True)
    spectrum = fft.rfft(samples, n_low * times)[: n_low // 2 + 1]
    spectrum[int(0.98 * n_low / 2) :] = 0
    return np.asarray(fft.irfft(spectrum, n_low) / times)[: -(-samples.size // times)]


def polynomial(*coefficients: float) -> Distortion:
    """Return ``y = c[0] x + c[1] x**2 + c[2] x**3 ...``, a memoryless loudspeaker."""
    return lambda x: np.polynomial.polynomial.polyval(x, (0.0, *coefficients))


def programme_samples(programme: Programme) -> Float:
    """Return the programme as a stereo file holds it, shape (2, n)."""
    rate_hz = programme.sample_rate_hz
    samples = sweep_samples(programme.sweep, sample_rate_hz=rate_hz)
    stereo = np.zeros((2, round(programme.duration_s * rate_hz)))
    for letter, pass_s in zip(programme.order, programme.starts_s, strict=True):
        first = round(pass_s * rate_hz)
        stereo["LR".index(letter), first : first + samples.size] = samples
    return stereo


def record_played(
    stereo: ArrayLike,
    responses: ArrayLike,
    *,
    sample_rate_hz: float,
    clock_ppm: float = 0.0,
    snr_db: float | None = None,
    noise: str = "pink",
    rng: np.random.Generator | None = None,
    start_s: float = 1.0,
    extra_s: float = 1.0,
    latency_s: float = 0.0,
    gain: float = 1.0,
) -> Float:
    """Return what a microphone records of a stereo file played at the same nominal rate.

    The parameters are those of `record`; `stereo` has shape (2, n).
    """
    stereo = np.asarray(stereo, dtype=float)
    responses = np.asarray(responses, dtype=float)
    ratio = 1 + clock_ppm * 1e-6
    offset = (start_s + latency_s) * sample_rate_hz
    n_samples = round(offset + stereo.shape[1] * ratio + extra_s * sample_rate_hz)
    position = (np.arange(n_samples) - offset) / ratio
    heard = np.zeros(n_samples)
    playing = np.zeros(n_samples, dtype=bool)
    for played, response in zip(stereo, responses, strict=True):
        arrived = interpolated(played, position)
        playing |= np.abs(arrived) > 0
        heard += oaconvolve(arrived, response)[:n_samples]
    return gain * _with_noise(heard, playing, sample_rate_hz, snr_db, noise, rng)


def interpolated(samples: ArrayLike, position: Float) -> Float:
    """Return a band-limited signal between its samples, 0 outside it.

    A windowed sinc of 128 taps (Kaiser, beta 12: side lobes near -120 dB, flat to 0.46 of
    the sampling frequency) from a table of 4096 phases, between which it is linear.
    """
    half, n_phases = 64, 4096
    taps = np.arange(1 - half, half + 1)
    away = taps - np.arange(n_phases + 1)[:, np.newaxis] / n_phases
    window = np.i0(12 * np.sqrt(np.clip(1 - (away / half) ** 2, 0, 1))) / np.i0(12.0)
    kernel = np.sinc(away) * window
    samples = np.asarray(samples, dtype=float)
    windows = np.lib.stride_tricks.sliding_window_view(np.pad(samples, 2 * half), 2 * half)
    position = np.clip(position, -half, samples.size - 1 + half)
    result = np.empty(position.size)
    for block in range(0, position.size, 8192):
        at = position[block : block + 8192]
        whole = np.floor(at).astype(int)
        phase, part = np.divmod((at - whole) * n_phases, 1)
        row = phase.astype(int)
        stretch = windows[whole + half + 1]
        low = np.einsum("ij,ij->i", stretch, kernel[row])
        high = np.einsum("ij,ij->i", stretch, kernel[np.minimum(row + 1, n_phases)])
        result[block : block + 8192] = low + part * (high - low)
    return result


def noise_samples(
    n_samples: int, *, sample_rate_hz: float, rng: np.random.Generator, colour: str = "pink"
) -> Float:
    """Return Gaussian noise of unit RMS: "white", or "pink" above `PINK_FROM_HZ`."""
    if colour not in {"pink", "white"}:
        msg = f"noise {colour!r} must be 'pink' or 'white'"
        raise ValueError(msg)
    samples = rng.standard_normal(n_samples)
    if colour == "pink":
        n_fft = fft.next_fast_len(n_samples, real=True)
        frequency_hz = fft.rfftfreq(n_fft, 1 / sample_rate_hz)
        spectrum = fft.rfft(rng.standard_normal(n_fft))
        spectrum /= np.sqrt(np.maximum(frequency_hz, PINK_FROM_HZ))
        samples = fft.irfft(spectrum, n_fft)[:n_samples]
    return np.asarray(samples / np.sqrt(np.mean(np.square(samples))))


def _with_noise(
    heard: Float,
    playing: NDArray[np.bool_],
    rate_hz: float,
    snr_db: float | None,
    colour: str,
    rng: np.random.Generator | None,
) -> Float:
    """Return the heard signal with noise at the ratio asked for."""
    if snr_db is None:
        return heard
    if rng is None:
        msg = f"noise at {snr_db} dB needs rng, a numpy random generator"
        raise ValueError(msg)
    rms = math.sqrt(float(np.mean(np.square(heard[playing]))))
    noise = noise_samples(heard.size, sample_rate_hz=rate_hz, rng=rng, colour=colour)
    return heard + noise * rms * 10 ** (-snr_db / 20)
