r"""How much later one loudspeaker's direct sound arrives than the other's.

Conventions: left minus right, positive where left is later, hence farther.

Both responses are gated alike around their first arrival. Their spectra's ratio holds
the delay and what differs between the loudspeakers. The part of the latter that is
minimum-phase follows from the ratio's magnitude by the Hilbert transform and is taken
out; of what is left, a crossover or low-frequency corner that differs gives a phase
falling as :math:`1/\omega`. So

.. math:: \arg\frac{H_L}{H_R} - \varphi_{\min}\!\left(\frac{|H_L|}{|H_R|}\right)
    = -\omega\tau + \frac{a}{\omega}

is fitted for :math:`\tau` and *a*, weighted by the product of the magnitudes, with the
phase wrapped about the fit (no unwrapping, which fails on echoes).

The uncertainty has three parts. *Noise*: the same estimate, linearised, on the noise
under the same gate at many places. *Mismatch*: what a difference between the
loudspeakers that is not minimum-phase may hide; it can't be seen, but it comes with a
difference that can, so it is taken in proportion to the ratio's ripple beyond noise, and
to how far the estimate moves with gate and band. *Clock*: as given. `in_room_std_m` adds
draughts and the microphone's place.

References
----------
Minimum phase from magnitude: A. V. Oppenheim and R. W. Schafer, "Discrete-Time Signal
Processing", cepstrum chapter (from memory). Its use for loudspeakers' arrivals: J. Blauert
and P. Laws, "Group delay distortions in electroacoustical systems", J. Acoust. Soc. Am.
63(5), 1978 (from memory: excess phase). The proportions were found on simulated rooms;
``docs/arrival.md`` has figures and limits.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy.fft as fft

from analysis.arrays import Complex, Float, Mask
from analysis.impulse_response import ImpulseResponse
from analysis.onset import first_arrival_s, gated_noise, gated_spectrum

GATE_S = 0.8e-3
"""Shorter than nearly every reflection's delay at a seat; 0.6 to 1 ms were as good."""

SMEAR_HZ = 0.6 / GATE_S
"""How far the gate smears a hole in the spectrum: three fifths of its resolution."""

BAND_HZ = (3000.0, 12_000.0)
"""Above the gate's resolution, below where microphone, air and aim differ."""

RATIO_BAND_HZ = (800.0, 20_500.0)
"""Outside it the magnitude ratio is held, for the Hilbert transform; above it a fading
slope is added (`_slope_row`)."""

SLOPE_FADES = 3
"""Above the band the ratio's slope is taken to fade with this power of frequency: two
tweeters whose second-order corners differ part by an amount that levels off."""

IN_ROOM_STD_M = 1e-3
"""Draughts (0.1 m/s along the left-right axis move 3 m of path by 0.9 mm: derived) and the
microphone's place, one sigma."""

FLOOR_STD_M = 2e-6
"""What the numbers themselves leave: interpolation and gating of like loudspeakers."""

RIPPLE_M = 2.6e-3
"""Metres of uncertainty per neper of ripple in the magnitude ratio (a neper is 8.7 dB),
after the minimum-phase part was taken out."""

UNCORRECTED_M = 10e-3
"""The same for the share of the minimum-phase part that noise forbids to take out."""

GAP_M = 0.4e-3
"""Metres of uncertainty per octave without data: the magnitude ratio is bridged there.
Planted holes of half an octave to an octave gave 0.05 to 0.3 mm."""

PRIOR = 0.2
"""Share of the noise's ripple that the loudspeakers' may have without being seen."""

BEND_PER_RIPPLE = 1.0
"""Size of the 1/omega term in the band's middle, radians per neper of ripple."""

SHIFT_SHARE = 0.5
"""Share of the estimate's movement with gate and band that counts as uncertainty."""

WITHHELD_STD_M = 4e-3
"""An estimate with a larger noise than this may have slipped a period: it is withheld."""

N_NOISES = 96


@dataclass(frozen=True, kw_only=True, slots=True)
class ArrivalMatch:
    """The arrivals of a pair and their difference.

    Attributes
    ----------
    left_s, right_s : float
        First arrival of each on the common axis, in seconds.
    difference_s, difference_m : float or None
        Left minus right; None where `withheld`.
    std_s, std_m : float or None
        One sigma that this recording supports.
    noise_std_m, mismatch_std_m, clock_std_m : float
        Its parts.
    in_room_std_m : float or None
        One sigma with draughts and the microphone's place.
    gate_s : tuple of float
        Gate's start and end, from the arrival.
    band_hz : tuple of float
        Band of the fit.
    check_difference_s : float or None
        The difference by a second method, the correlation of the gated responses.
    agree : bool
        Whether the two are as near as they should be.
    withheld : str or None
        Why there is no difference.
    """

    left_s: float
    right_s: float
    difference_s: float | None
    difference_m: float | None
    std_s: float | None
    std_m: float | None
    noise_std_m: float
    mismatch_std_m: float
    clock_std_m: float
    in_room_std_m: float | None
    gate_s: tuple[float, float]
    band_hz: tuple[float, float]
    check_difference_s: float | None
    agree: bool
    withheld: str | None


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _Gated:
    """Both responses under one gate, and what is known of their difference.

    Attributes
    ----------
    spectra : tuple of ndarray
        Left and right, phase counted from `arrivals_s`.
    errors : tuple of ndarray, shape (n_places, n_bins)
        Noise over signal of each, at many places.
    log_ratio : ndarray
        Logarithm of the magnitude ratio, held outside its band.
    inside : ndarray of bool
        Bins of the fit.
    top_hz : float
        Upper end of the magnitude ratio's band.
    """

    spectra: tuple[Complex, Complex]
    errors: tuple[Complex, Complex]
    log_ratio: Float
    inside: Mask
    frequency_hz: Float
    top_hz: float
    n_fft: int
    arrivals_s: tuple[float, float]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _Fit:
    """A fitted delay, its noise, and the ripple of the magnitude ratio."""

    delay_s: float
    noise_std_s: float
    ripple: float
    corrected: float


def match_arrivals(
    left: ImpulseResponse,
    right: ImpulseResponse,
    *,
    speed_of_sound_m_s: float,
    clock_std_s: float = 0.0,
) -> ArrivalMatch:
    """Return the left-minus-right arrival difference with its uncertainty.

    Parameters
    ----------
    left, right : ImpulseResponse
        On one time axis, with one sampling frequency.
    speed_of_sound_m_s : float
    clock_std_s : float
        One sigma that the clocks leave in the difference, in seconds.

    Returns
    -------
    ArrivalMatch

    Raises
    ------
    ValueError
        If the sampling frequencies differ.
    """
    if left.sample_rate_hz != right.sample_rate_hz:
        msg = f"sampling frequencies {left.sample_rate_hz} and {right.sample_rate_hz} differ"
        raise ValueError(msg)
    band_hz = _band(left, right)
    arrivals_s = (first_arrival_s(left), first_arrival_s(right))
    usable = _usable(left, right, band_hz)
    if usable < 0.5:
        return _withheld(
            arrivals_s,
            band_hz,
            f"only {usable:.0%} of {band_hz[0]:.0f} to {band_hz[1]:.0f} Hz is clean on both sides",
        )
    gated, fit = _twice(left, right, arrivals_s, GATE_S, band_hz)
    noise_m = fit.noise_std_s * speed_of_sound_m_s
    mismatch_m = _mismatch_std_m(left, right, gated, fit, band_hz, speed_of_sound_m_s)
    clock_m = clock_std_s * speed_of_sound_m_s
    check_s = _correlation_delay_s(gated, left.sample_rate_hz)
    if noise_m > WITHHELD_STD_M:
        return _withheld(
            arrivals_s, band_hz, f"noise leaves {noise_m * 1e3:.1f} mm, too much to act on"
        )
    std_m = math.hypot(noise_m, mismatch_m, clock_m, FLOOR_STD_M)
    difference_m = fit.delay_s * speed_of_sound_m_s
    apart_m = abs(check_s - fit.delay_s) * speed_of_sound_m_s
    return ArrivalMatch(
        left_s=arrivals_s[0],
        right_s=arrivals_s[1],
        difference_s=fit.delay_s,
        difference_m=difference_m,
        std_s=std_m / speed_of_sound_m_s,
        std_m=std_m,
        noise_std_m=noise_m,
        mismatch_std_m=mismatch_m,
        clock_std_m=clock_m,
        in_room_std_m=math.hypot(std_m, IN_ROOM_STD_M),
        gate_s=(-0.5e-3, GATE_S),
        band_hz=band_hz,
        check_difference_s=check_s,
        agree=apart_m < 6 * math.hypot(std_m, 5e-4),
        withheld=None,
    )


def _withheld(
    arrivals_s: tuple[float, float], band_hz: tuple[float, float], reason: str
) -> ArrivalMatch:
    """Return a match without a difference, and why."""
    return ArrivalMatch(
        left_s=arrivals_s[0],
        right_s=arrivals_s[1],
        difference_s=None,
        difference_m=None,
        std_s=None,
        std_m=None,
        noise_std_m=math.nan,
        mismatch_std_m=math.nan,
        clock_std_m=math.nan,
        in_room_std_m=None,
        gate_s=(-0.5e-3, GATE_S),
        band_hz=band_hz,
        check_difference_s=None,
        agree=True,
        withheld=reason,
    )


def _band(left: ImpulseResponse, right: ImpulseResponse) -> tuple[float, float]:
    """Return the fit's band: the usual one, or the top two octaves of a shorter sweep."""
    top_hz = min(left.band_hz[1], right.band_hz[1], 0.46 * left.sample_rate_hz)
    bottom_hz = max(left.band_hz[0], right.band_hz[0])
    high_hz = min(BAND_HZ[1], top_hz / 1.15)
    return max(min(BAND_HZ[0], high_hz / 3), bottom_hz * 1.3, 1 / GATE_S), high_hz


def _clean(frequency_hz: Float, gaps_hz: tuple[tuple[float, float], ...]) -> Mask:
    """Say which frequencies lie outside all gaps and what the gate smears of them."""
    clean = np.ones(frequency_hz.size, dtype=np.bool_)
    for low_hz, high_hz in gaps_hz:
        clean &= (frequency_hz < low_hz - SMEAR_HZ) | (frequency_hz > high_hz + SMEAR_HZ)
    return clean


def _usable(left: ImpulseResponse, right: ImpulseResponse, band_hz: tuple[float, float]) -> float:
    """Return the share of the band, in octaves, that is clean on both sides."""
    if band_hz[1] < 1.5 * band_hz[0]:
        return 0.0
    grid_hz = np.geomspace(*band_hz, 200)
    return float(np.mean(_clean(grid_hz, (*left.gaps_hz, *right.gaps_hz))))


def _twice(
    left: ImpulseResponse,
    right: ImpulseResponse,
    arrivals_s: tuple[float, float],
    gate_s: float,
    band_hz: tuple[float, float],
) -> tuple[_Gated, _Fit]:
    """Fit the delay; a second time with both gates placed by the first fit."""
    first = _fit(_gated(left, right, arrivals_s, gate_s, band_hz, n_noises=0))
    middle_s = (arrivals_s[0] + arrivals_s[1]) / 2
    # The gates at arrivals that differ by just the delay cut both responses alike.
    placed_s = (middle_s + first.delay_s / 2, middle_s - first.delay_s / 2)
    gated = _gated(left, right, placed_s, gate_s, band_hz, n_noises=N_NOISES)
    return gated, _fit(gated)


def _gated(
    left: ImpulseResponse,
    right: ImpulseResponse,
    arrivals_s: tuple[float, float],
    gate_s: float,
    band_hz: tuple[float, float],
    *,
    n_noises: int,
) -> _Gated:
    """Gate both responses and their noise."""
    rate_hz = left.sample_rate_hz
    n_fft = 2 ** math.ceil(math.log2(0.01 * rate_hz))
    frequency_hz = fft.rfftfreq(n_fft, 1 / rate_hz)
    gaps_hz = (*left.gaps_hz, *right.gaps_hz)
    inside = (frequency_hz >= band_hz[0]) & (frequency_hz <= band_hz[1])
    inside &= _clean(frequency_hz, gaps_hz)
    top_hz = min(RATIO_BAND_HZ[1], left.band_hz[1] / 1.05, right.band_hz[1] / 1.05)
    spectra = tuple(
        gated_spectrum(response, at_s, gate_s, n_fft)
        for response, at_s in zip((left, right), arrivals_s, strict=True)
    )
    errors = tuple(
        gated_noise(response, gate_s, n_fft, most=n_noises) / (spectrum + 1e-15)
        for response, spectrum in zip((left, right), spectra, strict=True)
    )
    ratio = np.log((np.abs(spectra[0]) + 1e-15) / (np.abs(spectra[1]) + 1e-15))
    clean = _clean(frequency_hz, gaps_hz)
    return _Gated(
        spectra=(spectra[0], spectra[1]),
        errors=(errors[0], errors[1]),
        log_ratio=_held(
            np.interp(frequency_hz, frequency_hz[clean], ratio[clean]), frequency_hz, top_hz
        ),
        inside=inside,
        frequency_hz=frequency_hz,
        top_hz=top_hz,
        n_fft=n_fft,
        arrivals_s=arrivals_s,
    )


def _held(values: Float, frequency_hz: Float, top_hz: float) -> Float:
    """Hold values constant outside the band of the magnitude ratio."""
    first, last = np.searchsorted(frequency_hz, (RATIO_BAND_HZ[0], top_hz))
    held = values.copy()
    held[..., :first] = held[..., first : first + 1]
    held[..., last:] = held[..., last - 1 : last]
    return held


def _fit(gated: _Gated) -> _Fit:
    """Fit the delay, correcting for the loudspeakers only as far as noise lets them be seen."""
    inside = gated.inside
    omega = 2 * np.pi * gated.frequency_hz[inside]
    product = (gated.spectra[0] * np.conj(gated.spectra[1]))[inside]
    weight = np.abs(product) / float(np.abs(product).max())
    ripple = gated.log_ratio[inside] - np.average(gated.log_ratio[inside], weights=weight)
    measured = float(np.average(ripple**2, weights=weight))
    noise = sum(
        0.5 * float(np.average(np.mean(np.abs(error[:, inside]) ** 2, axis=0), weights=weight))
        for error in gated.errors
        if error.size
    )
    seen = max(measured - noise, 0.0)
    share = (seen + PRIOR * noise) / (seen + PRIOR * noise + noise + 1e-15)
    phase = share * _ratio_phase(gated, gated.log_ratio)
    cross = product * np.exp(-1j * phase[inside])
    bend = _bend_share(gated, weight, omega, share, seen + PRIOR * noise)
    row = _row(weight, omega, bend)
    delay_s = _rough(cross, gated)
    if float((cross * np.exp(1j * omega * delay_s)).real.sum()) < 0:
        # One of the two is wired the other way round: half a turn at every frequency.
        cross = -cross
    for _ in range(6):
        step_s = float(row @ np.angle(cross * np.exp(1j * omega * delay_s)))
        delay_s += step_s
        if abs(step_s) < 1e-15:
            break
    return _Fit(
        delay_s=delay_s + gated.arrivals_s[0] - gated.arrivals_s[1],
        noise_std_s=_noise_std_s(gated, row, share),
        ripple=math.sqrt(seen),
        corrected=share,
    )


def _ratio_phase(gated: _Gated, log_ratio: Float) -> Float:
    r"""Return the minimum phase of a ratio, with what its slope foretells above the band.

    Notes
    -----
    Far below a corner at :math:`\omega_c`, a log magnitude that goes on above it as
    :math:`S (1 - (\omega_c/\omega)^p)/p` adds the phase
    :math:`2 S \omega / (\pi \omega_c (p + 1))` (Hilbert transform, first order).
    """
    frequency_hz = gated.frequency_hz
    near = (frequency_hz >= 0.62 * gated.top_hz) & (frequency_hz <= gated.top_hz)
    octave = np.log(frequency_hz[near])
    octave -= octave.mean()
    slope = log_ratio[..., near] @ octave / float((octave**2).sum())
    lead = 2 * slope / (np.pi * gated.top_hz * (SLOPE_FADES + 1))
    return minimum_phase(log_ratio, gated.n_fft) + np.multiply.outer(lead, frequency_hz)


def _row(weight: Float, omega: Float, bend: float) -> Float:
    """Return the row that takes phase errors to the delay.

    `bend` from 0 to 1 says how far the 1/omega term is let in: the mean of a delay fitted
    with a prior on that term lies so far between the fits without and with it.
    """
    middle = float(omega.mean())
    root = np.sqrt(weight)
    design = np.stack((omega / middle, middle / omega), axis=1) * root[:, None]
    full = np.linalg.pinv(design)[0] * root
    alone = design[:, 0] * root / float((design[:, 0] ** 2).sum())
    return np.asarray(-(bend * full + (1 - bend) * alone) / middle)


def _bend_share(gated: _Gated, weight: Float, omega: Float, share: float, possible: float) -> float:
    """Return how far the noise lets the 1/omega term be told."""
    if not gated.errors[0].size:
        return 1.0
    middle = float(omega.mean())
    root = np.sqrt(weight)
    design = np.stack((omega / middle, middle / omega), axis=1) * root[:, None]
    row = np.linalg.pinv(design)[1] * root
    variance = sum(
        float(np.mean((_phase_errors(gated, error, share) @ row) ** 2)) for error in gated.errors
    )
    prior = BEND_PER_RIPPLE**2 * possible
    return prior / (prior + variance + 1e-15)


def _phase_errors(gated: _Gated, error: Complex, share: float) -> Float:
    """Return what noise does to the phase that is fitted, at many places."""
    amplitude = _held(error.real, gated.frequency_hz, gated.top_hz)
    return (error.imag - share * _ratio_phase(gated, amplitude))[:, gated.inside]


def _rough(cross: Complex, gated: _Gated) -> float:
    """Return the delay at the correlation's peak, to a quarter of a sample, in seconds."""
    n_fine = 4 * gated.n_fft
    spectrum = np.zeros(n_fine // 2 + 1, dtype=np.complex128)
    spectrum[: gated.inside.size][gated.inside] = cross
    analytic = np.zeros(n_fine, dtype=np.complex128)
    analytic[: spectrum.size] = spectrum
    heights = np.abs(fft.ifft(analytic))
    at = int(np.argmax(heights))
    lag = at - n_fine if at > n_fine // 2 else at
    # The last bin is half the sampling frequency, and a sample has four fine ones.
    return lag / (8 * float(gated.frequency_hz[-1]))


def minimum_phase(log_magnitude: Float, n_fft: int) -> Float:
    """Return the phase of the minimum-phase system with a given magnitude.

    Parameters
    ----------
    log_magnitude : ndarray, shape (..., n_fft // 2 + 1)
        Natural logarithm.
    n_fft : int

    Returns
    -------
    ndarray, shape (..., n_fft // 2 + 1)
        In radians.
    """
    cepstrum = fft.irfft(log_magnitude, n_fft, axis=-1)
    fold = np.zeros(n_fft)
    fold[0] = fold[n_fft // 2] = 1
    fold[1 : n_fft // 2] = 2
    return fft.rfft(cepstrum * fold, axis=-1).imag


def _noise_std_s(gated: _Gated, row: Float, share: float) -> float:
    """Propagate the noise under the gate, at many places, to the delay."""
    variance = 0.0
    for error in gated.errors:
        if error.shape[0] >= 8:
            errors_s = _phase_errors(gated, error, share) @ row
            variance += float(np.mean(errors_s**2))
    return math.sqrt(variance)


def _mismatch_std_m(
    left: ImpulseResponse,
    right: ImpulseResponse,
    gated: _Gated,
    fit: _Fit,
    band_hz: tuple[float, float],
    speed_of_sound_m_s: float,
) -> float:
    """Estimate what unlike loudspeakers and early echoes may hide."""
    noise_m = fit.noise_std_s * speed_of_sound_m_s
    shorter = _gated(left, right, gated.arrivals_s, 0.75 * GATE_S, band_hz, n_noises=N_NOISES)
    shift_m = (_fit(shorter).delay_s - fit.delay_s) * speed_of_sound_m_s
    beyond_m = math.sqrt(max(shift_m**2 - (2 * noise_m) ** 2, 0.0))
    left_in = math.hypot(RIPPLE_M, UNCORRECTED_M * (1 - fit.corrected))
    grid_hz = np.geomspace(RATIO_BAND_HZ[0], gated.top_hz, 300)
    lost = 1 - float(np.mean(_clean(grid_hz, (*left.gaps_hz, *right.gaps_hz))))
    lost_octaves = lost * math.log2(gated.top_hz / RATIO_BAND_HZ[0])
    return math.hypot(left_in * fit.ripple, SHIFT_SHARE * beyond_m, GAP_M * lost_octaves)


def _correlation_delay_s(gated: _Gated, sample_rate_hz: float) -> float:
    """Return the delay by the correlation of the gated responses over the fit's band."""
    cross = np.where(gated.inside, gated.spectra[0] * np.conj(gated.spectra[1]), 0)
    n_fine = 16 * gated.n_fft
    correlation = fft.irfft(cross, n_fine)
    reach = int(0.2e-3 * sample_rate_hz * 16)
    lags = np.arange(-reach, reach + 1)
    heights = np.abs(correlation[lags])
    at = min(max(int(np.argmax(heights)), 1), lags.size - 2)
    before, top, after = heights[at - 1 : at + 2]
    bend = before - 2 * top + after
    fraction = 0.5 * float((before - after) / bend) if bend < 0 else 0.0
    lag_s = (float(lags[at]) + fraction) / (16 * sample_rate_hz)
    return lag_s + gated.arrivals_s[0] - gated.arrivals_s[1]
