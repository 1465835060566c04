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

from analysis.pair.excess_phase import DelayFit, fit_delay, fit_delay_twice
from analysis.pair.gated_pair import (
    GATE_S,
    N_NOISES,
    RATIO_BAND_HZ,
    GatedPair,
    clean_bins_mask,
    gate_pair,
)
from analysis.signals.impulse_response import ImpulseResponse
from analysis.signals.onset import first_arrival_s

BAND_HZ = (3000.0, 12_000.0)
"""Above the gate's resolution, below where microphone, air and aim differ."""


IN_ROOM_STD_M = 1e-3
"""Draughts (0.1 m/s along the left-right axis move 3 m of path by 0.9 mm: derived) and the
microphone's place, one sigma."""

FLOOR_STD_M = 2e-6
"""What the numbers themselves leave: interpolation and gating of like loudspeakers."""

RIPPLE_M = 1.75e-3
"""Metres of uncertainty per neper of ripple in the magnitude ratio (a neper is 8.7 dB),
after the minimum-phase part was taken out."""

BAND_POWER = 2
"""For lower bands both grow with the wavelength to this power: once for the phase's share of
it, once for the fewer wavelengths in the gate."""

BEAM_SHARE = 0.6
"""Share, as one sigma, of what was taken out with the part of the ratio that unlike aims would
give: half, and two sigmas would just reach the estimate that leaves it in."""

TREBLE_RIPPLE = 0.15
"""Neper (1.3 dB) by which a pair may differ above the end of a sweep that spares the treble."""

UNCORRECTED_M = 8e-3
"""The same for the share of the minimum-phase part that noise forbids to take out."""

GAP_M = 0.4e-3
"""Metres of uncertainty per octave without data: the magnitude ratio is bridged there.
Planted holes of half an octave to an octave gave 0.05 to 0.3 mm."""

NOISE_RIPPLE_MARGIN = 1.4
"""Times the noise's own ripple that is taken off: its scatter would else pass for ripple."""

EDGE_RIPPLE = 0.005
"""Ripple in neper (0.04 dB) that the gate's edges leave of like loudspeakers whose
reflections differ."""


SHIFT_SHARE = 0.5
"""Share of the estimate's movement with gate and band that counts as uncertainty."""

LEAST_BAND_RATIO = 1.5
"""The fit's band ends at least so many times above its beginning: a narrower one doesn't tell one
period of the sound from the next."""

WITHHELD_STD_M = 4e-3
"""An estimate with a larger noise than this may have slipped a period: it is withheld."""


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

    @property
    def is_too_narrow(self) -> bool:
        """Whether the sweep covers too little of the band in which arrivals are told."""
        return _is_too_narrow(self.band_hz)


def tells_arrival(left: ImpulseResponse, right: ImpulseResponse) -> bool:
    """Return whether both were measured over a band wide and high enough for an arrival."""
    return not _is_too_narrow(_fit_band_hz(left, right))


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
    clock_std_s : float
        One sigma that the clocks leave in the difference, in seconds.

    Raises
    ------
    ValueError
        If the sampling frequencies differ.
    """
    if left.sample_rate_hz != right.sample_rate_hz:
        msg = f"sampling frequencies {left.sample_rate_hz} and {right.sample_rate_hz} differ"
        raise ValueError(msg)
    band_hz = _fit_band_hz(left, right)
    arrivals_s = (first_arrival_s(left), first_arrival_s(right))
    if _is_too_narrow(band_hz):
        return _withheld_match(arrivals_s, band_hz, _explain_narrow(left, right))
    usable = _clean_share(left, right, band_hz)
    if usable < 0.5:
        return _withheld_match(
            arrivals_s,
            band_hz,
            f"only {usable:.0%} of {band_hz[0]:.0f} to {band_hz[1]:.0f} Hz is clean on both sides",
        )
    gated, fit = fit_delay_twice(left, right, arrivals_s, GATE_S, band_hz)
    noise_m = fit.noise_std_s * speed_of_sound_m_s
    mismatch_m = _mismatch_std_m(left, right, gated, fit, band_hz, speed_of_sound_m_s)
    clock_m = clock_std_s * speed_of_sound_m_s
    check_s = _correlation_delay_s(gated, left.sample_rate_hz)
    if noise_m > WITHHELD_STD_M:
        return _withheld_match(
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


def withhold_difference(match: ArrivalMatch, reason: str) -> ArrivalMatch:
    """Return a match whose difference is withheld."""
    return _withheld_match((match.left_s, match.right_s), match.band_hz, reason)


def _withheld_match(
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


def _fit_band_hz(left: ImpulseResponse, right: ImpulseResponse) -> tuple[float, float]:
    """Return the fit's band: the usual one, or the top two octaves of a shorter sweep."""
    top_hz = min(left.band_hz[1], right.band_hz[1], 0.46 * left.sample_rate_hz)
    bottom_hz = max(left.band_hz[0], right.band_hz[0])
    high_hz = min(BAND_HZ[1], top_hz / 1.15)
    return max(min(BAND_HZ[0], high_hz / 3), bottom_hz * 1.3, 1 / GATE_S), high_hz


def _is_too_narrow(band_hz: tuple[float, float]) -> bool:
    """Return whether a band is too narrow to fit a delay in."""
    return band_hz[1] < LEAST_BAND_RATIO * band_hz[0]


def _explain_narrow(left: ImpulseResponse, right: ImpulseResponse) -> str:
    """Return why a sweep can't tell the arrival."""
    low_hz = max(left.band_hz[0], right.band_hz[0])
    high_hz = min(left.band_hz[1], right.band_hz[1])
    return (
        f"this sweep can't tell the arrival: it covers {low_hz:.0f} to {high_hz:.0f} Hz, too "
        f"little above {1 / GATE_S:.0f} Hz, where the first sound stands out from its echoes"
    )


def _clean_share(
    left: ImpulseResponse, right: ImpulseResponse, band_hz: tuple[float, float]
) -> float:
    """Return the share of the band, in octaves, that is clean on both sides."""
    grid_hz = np.geomspace(*band_hz, 200)
    return float(np.mean(clean_bins_mask(grid_hz, (*left.gaps_hz, *right.gaps_hz))))


def _mismatch_std_m(
    left: ImpulseResponse,
    right: ImpulseResponse,
    gated: GatedPair,
    fit: DelayFit,
    band_hz: tuple[float, float],
    speed_of_sound_m_s: float,
) -> float:
    """Estimate what unlike loudspeakers and early echoes may hide."""
    noise_m = fit.noise_std_s * speed_of_sound_m_s
    shorter = gate_pair(left, right, gated.arrivals_s, 0.75 * GATE_S, band_hz, n_noises=N_NOISES)
    shift_m = (fit_delay(shorter).delay_s - fit.delay_s) * speed_of_sound_m_s
    beyond_m = math.sqrt(max(shift_m**2 - (2 * noise_m) ** 2, 0.0))
    left_in = math.hypot(RIPPLE_M, UNCORRECTED_M * (1 - fit.corrected))
    left_in *= (sum(BAND_HZ) / sum(band_hz)) ** BAND_POWER
    grid_hz = np.geomspace(RATIO_BAND_HZ[0], gated.top_hz, 300)
    lost = 1 - float(np.mean(clean_bins_mask(grid_hz, (*left.gaps_hz, *right.gaps_hz))))
    lost_octaves = lost * math.log2(gated.top_hz / RATIO_BAND_HZ[0])
    ripple = max(fit.ripple, _wide_ripple(gated))
    return math.hypot(
        left_in * ripple,
        SHIFT_SHARE * beyond_m,
        GAP_M * lost_octaves,
        BEAM_SHARE * fit.beam_s * speed_of_sound_m_s,
        _treble_std_s(gated.top_hz) * speed_of_sound_m_s,
    )


def _treble_std_s(top_hz: float) -> float:
    r"""Return what loudspeakers unlike above a sweep's early end leave in the delay, in seconds.

    Notes
    -----
    A ratio of r neper above :math:`\omega` adds, far below it, the delay
    :math:`\frac{2}{\pi} \int_\omega^\infty r\,x^{-2}dx = 2r/(\pi\omega)` (Hilbert transform).
    What lies above the whole band is left to `RIPPLE_M`.
    """
    unseen_s = 1 / (2 * math.pi * top_hz) - 1 / (2 * math.pi * RATIO_BAND_HZ[1])
    return 2 / math.pi * TREBLE_RIPPLE * max(unseen_s, 0.0)


def _wide_ripple(gated: GatedPair) -> float:
    """Return the ratio's ripple beyond noise over the whole of its band, in neper.

    In the fit's band alone it may be small by chance though the loudspeakers differ.
    """
    wide = (gated.frequency_hz >= 1 / (0.8 * GATE_S)) & (gated.frequency_hz <= gated.top_hz)
    octave = 1 / gated.frequency_hz[wide]
    ratio = gated.log_ratio[wide]
    measured = float(np.average((ratio - np.average(ratio, weights=octave)) ** 2, weights=octave))
    noise = sum(
        0.5 * float(np.average(np.mean(np.abs(error[:, wide]) ** 2, axis=0), weights=octave))
        for error in gated.errors
        if error.size
    )
    return math.sqrt(max(measured - NOISE_RIPPLE_MARGIN * noise - EDGE_RIPPLE**2, 0.0))


def _correlation_delay_s(gated: GatedPair, sample_rate_hz: float) -> float:
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
