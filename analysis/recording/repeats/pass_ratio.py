r"""The ratio of two passes of one loudspeaker: a delay, a ramp, and what they leave.

Conventions: positive where the second pass is later; time in the sweep is
:math:`t(f) = L \ln(f/f_1)`.

Both passes share the room's response, so their ratio holds only what changed between them.
A clock whose rate differs by :math:`\delta` in the second pass delays what the sweep passes
later by more, samples lost in a pause delay all alike:

.. math:: H_2/H_1 = g\,e^{-j\varphi}, \qquad
    \varphi(f) = 2\pi f\,(\tau + \delta\,(t(f) - t_r)).

The reference time :math:`t_r` is the mean of t(f) in the fit's own weights, which makes the
errors of delay and ramp independent. Fitted by Gauss-Newton steps, each frequency weighted by
its signal over both passes' noise. A gain is free by octave: loudspeakers warm up.

What is left is noise, or a microphone that moved. In a diffuse field the pressures at two
points d apart correlate by :math:`\operatorname{sinc}(kd)`, so of the energy

.. math:: 1 - \left(\frac{\sin kd}{kd}\right)^2

is left by any one gain; direct sound, which only comes at another time, leaves less.

References
----------
R. K. Cook, R. V. Waterhouse, R. D. Berendt, S. Edelman, M. C. Thompson, "Measurement of
correlation coefficients in reverberant sound fields", J. Acoust. Soc. Am. 27(6), 1955 (from
memory): the correlation.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import scipy.fft as fft

from analysis.basics.arrays import Complex, Float
from analysis.recording.repeats.timing_response import TimingResponse
from analysis.signals.sweep import Sweep

LOWEST_HZ = 500.0
"""Below, a millimetre's move and a microsecond's delay leave nothing to see."""

RISE_S, FALL_S = 0.005, 0.04
"""The stretch's edges: what a delay moves across them is no change of the room."""

MODEL_ERROR = 1e-7
"""Share of the energy (-70 dB) that the model itself leaves, where there is no noise."""

N_STEPS = 4
CURVED_ORDER = 3
"""The residual is what a delay that is curved over the sweep's time leaves: a clock that wanders
within the pass isn't a moved microphone."""

LEAST_BINS = 40
"""Fewer clean frequencies tell nothing; a third octave at 1 kHz has some 25."""

RISEN = 2.0
"""An octave counts towards a move if this many times its noise is left..."""

MOST_LEFT = 0.7
"""... and not so much that its phase is at random."""

FEWEST_OCTAVES = 2

SPEED_OF_SOUND_M_S = 343.0
"""For the size of a move, which is rough anyhow."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class PassRatio:
    """What changed between two passes of one loudspeaker.

    Attributes
    ----------
    delay_s, delay_std_s : float
        At the reference time; one sigma.
    ramp, ramp_std : float
        Change of the recorder's rate against the player's, as a ratio.
    reference_s : float
        From the sweep's start.
    octave_hz : ndarray, shape (n,)
        Centre of each octave with clean data.
    residual, noise : ndarray, shape (n,)
        Share of an octave's energy that the fit leaves, and that the passes' noise explains.
    """

    delay_s: float
    delay_std_s: float
    ramp: float
    ramp_std: float
    reference_s: float
    octave_hz: Float
    residual: Float
    noise: Float


def fit_pass_ratio(
    first: TimingResponse,
    second: TimingResponse,
    *,
    start_s: float,
    sweep: Sweep,
    band_hz: tuple[float, float],
    disturbed_hz: tuple[tuple[float, float], ...] = (),
) -> PassRatio | None:
    """Fit delay and ramp of the second pass against the first.

    Parameters
    ----------
    start_s : float
        The delay to begin with, right to a quarter of the highest period.
    band_hz : tuple of float
        Over which the responses are whole.
    disturbed_hz : tuple of tuple of float
        Bands to leave out.

    Returns
    -------
    PassRatio or None
        None where too little of the band is clean.
    """
    rate_hz = first.sample_rate_hz
    # Both stretches hold the same of the room, wherever their cuts began.
    shift = round(start_s * rate_hz)
    starts = np.stack((first.start(), second.start(shift)))
    taper = _edges(starts.shape[1], rate_hz)
    frequency_hz = fft.rfftfreq(taper.size, 1 / rate_hz)
    used = (frequency_hz >= max(LOWEST_HZ, band_hz[0])) & (frequency_hz <= band_hz[1])
    for low_hz, high_hz in disturbed_hz:
        used &= (frequency_hz < low_hz) | (frequency_hz > high_hz)
    if np.count_nonzero(used) < LEAST_BINS:
        return None
    spectra = fft.rfft(starts * taper)[:, used]
    power = _noise_power(first.noise, taper)[used] + _noise_power(second.noise, taper)[used]
    fitted = _fit(spectra, power, frequency_hz[used], start_s - shift / rate_hz, sweep)
    return replace(fitted, delay_s=fitted.delay_s + shift / rate_hz)


def _edges(n: int, sample_rate_hz: float) -> Float:
    """Return the window on a stretch of `n` samples, with raised-cosine edges."""
    taper = np.ones(n)
    n_rise, n_fall = round(RISE_S * sample_rate_hz), round(FALL_S * sample_rate_hz)
    taper[:n_rise] = np.sin(np.linspace(0, np.pi / 2, n_rise)) ** 2
    taper[n - n_fall :] = np.cos(np.linspace(0, np.pi / 2, n_fall)) ** 2
    return taper


def _noise_power(noise: Float, taper: Float) -> Float:
    """Return the noise's energy at each frequency of a stretch under the same window."""
    n_blocks = max(noise.size // taper.size, 1)
    blocks = np.resize(noise, n_blocks * taper.size).reshape(n_blocks, taper.size)
    power = np.mean(np.abs(fft.rfft(blocks * taper)) ** 2, axis=0)
    # Few blocks: neighbours share what is smooth over frequency.
    width = 33
    return np.convolve(np.pad(power, width // 2, mode="reflect"), np.ones(width) / width, "valid")


def _fit(
    spectra: Complex, noise: Float, frequency_hz: Float, start_s: float, sweep: Sweep
) -> PassRatio:
    """Fit the ratio at the frequencies that are clean."""
    octave = np.floor(np.log2(frequency_hz / frequency_hz[0]) + 1e-9).astype(int)
    noise = noise + MODEL_ERROR * float(np.mean(np.abs(spectra[0]) ** 2))
    omega = 2 * np.pi * frequency_hz
    weight = (omega * np.abs(spectra[0])) ** 2 / (noise / 2)
    time_s = np.asarray(sweep.time_at(frequency_hz))
    reference_s = float((weight * time_s).sum() / weight.sum())
    since_s = time_s - reference_s
    delay_s, fitted = np.full(frequency_hz.size, start_s), np.zeros(2)
    fitted[0] = start_s
    for _ in range(N_STEPS):
        step = _newton_step(spectra, weight, omega, delay_s, since_s, order=1)
        fitted += step
        delay_s = fitted[0] + fitted[1] * since_s
    straight = _left_by_octave(spectra, omega, delay_s, octave)[1]
    for _ in range(2):
        step = _newton_step(spectra, weight, omega, delay_s, since_s, order=CURVED_ORDER)
        delay_s = delay_s + np.polynomial.polynomial.polyval(since_s, step)
    energy, left = _left_by_octave(spectra, omega, delay_s, octave)
    expected = np.bincount(octave, noise)
    # Where more is left than noise, the sigmas grow by it.
    risen = max(1.0, float(straight.sum() / expected.sum()))
    kept = np.flatnonzero(np.bincount(octave) >= LEAST_BINS // 2)
    centre_hz = frequency_hz[0] * 2 ** (kept + 0.5)
    return PassRatio(
        delay_s=float(fitted[0]),
        delay_std_s=math.sqrt(risen / float(weight.sum())),
        ramp=float(fitted[1]),
        ramp_std=math.sqrt(risen / float((weight * since_s**2).sum())),
        reference_s=reference_s,
        octave_hz=np.minimum(centre_hz, math.sqrt(2) * frequency_hz[-1] / 2**0.5),
        residual=left[kept] / energy[kept],
        noise=expected[kept] / energy[kept],
    )


def _newton_step(
    spectra: Complex, weight: Float, omega: Float, delay_s: Float, since_s: Float, *, order: int
) -> Float:
    """Return the change of the delay's polynomial over time that the phase asks for."""
    turned = spectra[1] * np.conj(spectra[0]) * np.exp(1j * omega * delay_s)
    power = np.maximum(np.abs(spectra[0]) ** 2, 1e-300)
    power *= float((weight * turned.real / power).sum() / weight.sum())
    # Late by more than `delay_s` turns the phase back; weighted by the signal, noise is linear.
    late_s = -turned.imag / power / omega
    powers = since_s[:, np.newaxis] ** np.arange(order + 1)
    normal = powers.T @ (weight[:, np.newaxis] * powers)
    return np.asarray(np.linalg.solve(normal, powers.T @ (weight * late_s)))


def _left_by_octave(
    spectra: Complex, omega: Float, delay_s: Float, octave: np.ndarray
) -> tuple[Float, Float]:
    """Return each octave's energy, and what one gain and the delay leave of it."""
    moved = spectra[0] * np.exp(-1j * omega * delay_s)
    joint = np.bincount(octave, (spectra[1] * np.conj(moved)).real)
    own = np.maximum(np.bincount(octave, np.abs(moved) ** 2), 1e-300)
    gain = joint / own
    left = np.bincount(octave, np.abs(spectra[1] - gain[octave] * moved) ** 2)
    energy = np.bincount(octave, np.abs(spectra[1]) ** 2)
    return np.maximum(energy, 1e-300), np.asarray(left, dtype=np.float64)


def moved_distance_m(ratio: PassRatio) -> float:
    """Return by how far the microphone moved between two passes, roughly; 0 if that isn't seen.

    Notes
    -----
    The median over the octaves in which clearly more than noise is left, each by the diffuse
    field's correlation.
    """
    above = ratio.residual > RISEN * ratio.noise
    excess = ratio.residual - ratio.noise
    if np.count_nonzero(above) < FEWEST_OCTAVES:
        return 0.0
    told = above & (excess < MOST_LEFT)
    if not told.any():
        # All at random: at least so far that the lowest octave is.
        told = np.arange(excess.size) == 0
    return float(np.median(_diffuse_distance_m(excess, ratio.octave_hz)[told]))


def hidden_distance_m(ratio: PassRatio) -> float:
    """Return up to which distance noise hides a move."""
    risen = (RISEN - 1) * ratio.noise
    hidden_m = np.sort(_diffuse_distance_m(risen, ratio.octave_hz))
    return float(hidden_m[min(FEWEST_OCTAVES, hidden_m.size) - 1])


def _diffuse_distance_m(left: Float, frequency_hz: Float) -> Float:
    """Return the distance at which a diffuse field leaves such a share of its energy."""
    turn = np.linspace(1e-4, np.pi, 4000)
    turns = np.interp(left, 1 - (np.sin(turn) / turn) ** 2, turn)
    return np.asarray(turns * SPEED_OF_SOUND_M_S / (2 * np.pi * frequency_hz))
