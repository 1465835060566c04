"""The mean impulse response of each loudspeaker, with the noise that it carries.

Conventions: as in `analysis.signals.impulse_response`; time zero of the common axis is the
start of a pass's sweep for its strongest arrival, so the arrivals lie near zero.

Repeats are averaged in the frequency domain with weights: 1 where a pass is clean, 0
where its direct sound is disturbed, and ``LATE_WEIGHT`` where only the later response is,
so that such data serve only where there is nothing better.

The noise comes from half the difference of the repeats, which has the statistics of
the noise in their mean and also shows what changed between them; with one pass, from the
stretch of the circular response that lies before every harmonic, where only noise is.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import scipy.fft as fft

from analysis.basics.arrays import Complex, Float, freeze
from analysis.recording.alignment import AlignedPasses
from analysis.recording.disturbance.detection import N_HARMONICS, clean_weights
from analysis.recording.extraction import ExtractedPass
from analysis.recording.repeats.timing_response import noise_only_s
from analysis.signals.deconvolution import (
    LEAD_S,
    InverseSweep,
    advance_spectrum,
    inverse_sweep,
    response_slice,
)
from analysis.signals.impulse_response import ImpulseResponse
from analysis.signals.programme import Programme

LATE_WEIGHT = 1e-3
GAP_SHARE = 0.5
"""A frequency is a gap where less than this share of one clean pass is left."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class SideResponse:
    """One loudspeaker's response and what the passes say of each other.

    Attributes
    ----------
    response : ImpulseResponse
        The causal part, from ``LEAD_S`` before time zero.
    anticausal : ndarray, shape (n,)
        What precedes the causal part: harmonic distortion and noise.
    anticausal_start_s : float
        Common time of ``anticausal[0]``.
    level_db : ndarray, shape (n_passes,)
        Broadband level of each pass re their mean, over what is clean in all.
    """

    response: ImpulseResponse
    anticausal: Float
    anticausal_start_s: float
    level_db: Float

    def __post_init__(self) -> None:
        object.__setattr__(self, "anticausal", freeze(self.anticausal, name="anticausal"))


def average_passes(
    aligned: AlignedPasses,
    programme: Programme,
    *,
    top_hz: float | None = None,
    microphone_db: tuple[Float, Float] | None = None,
) -> tuple[SideResponse | None, SideResponse | None]:
    """Average the passes of each side on the common time axis.

    Parameters
    ----------
    top_hz : float, optional
        Highest frequency that the recording holds; the sweep's if not given.
    microphone_db : tuple of ndarray, optional
        Frequency in Hz and correction in dB to add, interpolated in the logarithm of
        frequency and flat beyond its ends. It is applied without phase, to both sides
        alike.

    Returns
    -------
    left, right : SideResponse or None
        None where a side has no pass.
    """
    band_hz = (programme.sweep.start_hz, top_hz or programme.sweep.stop_hz)
    inverse = inverse_sweep(
        programme.sweep,
        sample_rate_hz=programme.sample_rate_hz,
        n_fft=aligned.n_fft,
        clock_ratio=aligned.clock.ratio,
    )
    if microphone_db is not None:
        inverse = replace(
            inverse, spectrum=inverse.spectrum * _microphone_gain(inverse, *microphone_db)
        )
    sides = []
    for side in "LR":
        which = [at for at, extracted in enumerate(aligned.passes) if extracted.side == side]
        sides.append(_average_side(which, aligned, programme, inverse, band_hz) if which else None)
    return sides[0], sides[1]


Sides = tuple[SideResponse | None, SideResponse | None]
"""Left and right; None where a side wasn't heard."""


def sides_with_a_whole_pass(sides: Sides, aligned: AlignedPasses) -> Sides:
    """Return the sides of which one pass at least was recorded to the end of its sweep.

    Where a recording ends inside the only one, what is cut off rings in the bass and looks like
    harmonics.
    """
    cut = aligned.disturbance.cut
    whole = {one.side for one, is_cut in zip(aligned.passes, cut, strict=True) if not is_cut}
    left, right = sides
    return (left if "L" in whole else None, right if "R" in whole else None)


def _microphone_gain(inverse: InverseSweep, frequency_hz: Float, correction_db: Float) -> Float:
    """Return the microphone's correction at every bin, as a factor."""
    octave = np.log2(np.maximum(inverse.frequency_hz, 1e-3))
    gain_db = np.interp(octave, np.log2(frequency_hz), correction_db)
    return np.asarray(10 ** (gain_db / 20))


def _average_side(
    which: list[int],
    aligned: AlignedPasses,
    programme: Programme,
    inverse: InverseSweep,
    band_hz: tuple[float, float],
) -> SideResponse:
    """Average one side's passes."""
    transfer = [
        _deconvolve(aligned.passes[at], float(aligned.offsets_s[at]), inverse) for at in which
    ]
    disturbed = aligned.disturbance.direct[which].any() or aligned.disturbance.late[which].any()
    gaps: tuple[tuple[float, float], ...] = ()
    if disturbed:
        direct, late = clean_weights(aligned.disturbance, inverse.frequency_hz)
        direct, late = direct[which], late[which]
        weight = direct * (late + LATE_WEIGHT * (1 - late))
        total = weight.sum(axis=0)
        gaps = _find_gaps_hz(direct, inverse.frequency_hz, programme)
        share = weight / np.maximum(total, 1e-12)
    else:
        share = np.full((len(which), 1), 1 / len(which))
    mean = np.zeros_like(transfer[0])
    for h, part in zip(transfer, share, strict=True):
        mean += h * part
    stop_s = max(programme.tail_s, 0.1) + LEAD_S
    noise = _estimate_noise(transfer, share, mean, inverse, programme)
    early_s = min(
        programme.sweep.harmonic_lead_s(N_HARMONICS) + 0.2,
        inverse.n_fft / programme.sample_rate_hz - stop_s,
    )
    circular = fft.irfft(mean, inverse.n_fft)
    n_stop = round(stop_s * programme.sample_rate_hz)
    n_early = round(early_s * programme.sample_rate_hz)
    return SideResponse(
        response=ImpulseResponse(
            samples=circular[:n_stop],
            sample_rate_hz=programme.sample_rate_hz,
            start_s=-LEAD_S,
            noise=noise,
            band_hz=band_hz,
            gaps_hz=gaps,
            n_repeats=len(which),
        ),
        anticausal=circular[circular.size - n_early :],
        anticausal_start_s=-LEAD_S - n_early / programme.sample_rate_hz,
        level_db=_pass_levels_db(transfer, aligned, which, inverse),
    )


def _deconvolve(extracted: ExtractedPass, offset_s: float, inverse: InverseSweep) -> Complex:
    """Deconvolve a pass, its first sample at ``-LEAD_S`` of the common axis."""
    return advance_spectrum(extracted.spectrum * inverse.spectrum, -LEAD_S - offset_s, inverse)


def _estimate_noise(
    transfer: list[Complex],
    share: Float,
    mean: Complex,
    inverse: InverseSweep,
    programme: Programme,
) -> Float:
    """Return a stretch with the statistics of the noise in the mean."""
    quiet_start_s, quiet_stop_s = noise_only_s(inverse, programme)
    alone = response_slice(mean, inverse, start_s=quiet_start_s, stop_s=quiet_stop_s)
    if len(transfer) < 2:
        return alone
    stop_s = quiet_stop_s - quiet_start_s
    # Signs that sum to zero; with an odd number the last two share one.
    signs = np.array([(-1.0) ** at for at in range(len(transfer))])
    signs -= signs.mean()
    scale = np.sqrt((share**2).sum(axis=0) / np.maximum((signs**2).sum(), 1e-12))
    both = np.minimum(share.min(axis=0) * len(transfer), 1.0)
    difference = np.zeros_like(mean)
    for h, sign in zip(transfer, signs, strict=True):
        difference += h * sign
    apart = response_slice(difference * (scale * both), inverse, start_s=0.0, stop_s=stop_s)
    if np.all(both == 1.0):
        return apart
    # Where one pass alone is left the difference says nothing: take the quiet stretch.
    apart = apart[: alone.size]
    only = np.interp(
        fft.rfftfreq(alone.size, 1 / inverse.sample_rate_hz), inverse.frequency_hz, 1 - both
    )
    return np.asarray(apart + fft.irfft(fft.rfft(alone) * np.sqrt(only), alone.size))


def _find_gaps_hz(
    direct: Float, frequency_hz: Float, programme: Programme
) -> tuple[tuple[float, float], ...]:
    """Return the frequency ranges in which no pass has clean direct sound."""
    swept = (frequency_hz >= programme.sweep.start_hz) & (frequency_hz <= programme.sweep.stop_hz)
    empty = (direct.max(axis=0) < GAP_SHARE) & swept
    edges = np.flatnonzero(np.diff(np.concatenate(([0], empty.astype(np.int8), [0]))))
    return tuple(
        (float(frequency_hz[first]), float(frequency_hz[last - 1]))
        for first, last in edges.reshape(-1, 2)
    )


def _pass_levels_db(
    transfer: list[Complex], aligned: AlignedPasses, which: list[int], inverse: InverseSweep
) -> Float:
    """Return each pass's level re the mean over the third octaves clean in all passes."""
    disturbance = aligned.disturbance
    clean = ~(disturbance.direct[which].any(axis=0) | disturbance.late[which].any(axis=0))
    clean &= (disturbance.low_hz > 200) & (disturbance.high_hz < 8000)
    bin_hz = inverse.sample_rate_hz / inverse.n_fft
    level_db = np.zeros((len(which), int(clean.sum())))
    for row, h in enumerate(transfer):
        for column, band in enumerate(np.flatnonzero(clean)):
            part = h[
                int(disturbance.low_hz[band] / bin_hz) : int(disturbance.high_hz[band] / bin_hz)
            ]
            level_db[row, column] = 10 * np.log10(float(np.mean(np.abs(part) ** 2)) + 1e-300)
    if level_db.size == 0:
        return np.zeros(len(which))
    # The median: a band that holds a rest of foreign sound moves no gain.
    return np.asarray(np.median(level_db - level_db.mean(axis=0), axis=1))
