"""Absolute distances, from a second input that is wired to the left output.

Conventions: a distance is what the sound covered after the loudspeaker's own delay of
crossover and driver, which can't be told from it; so it is long by some millimetres to
centimetres, in both loudspeakers of a pair alike. The difference of the pair doesn't need
any of this.

The wire hears the left passes when they leave the player. On the time axis on which the
microphone's responses lie, its response is a pulse so much earlier as the sound took.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import scipy.fft as fft

from analysis.basics.air import Air
from analysis.basics.arrays import Complex, Float
from analysis.pair.arrival import ArrivalMatch
from analysis.recording.alignment import AlignedPasses
from analysis.signals.deconvolution import (
    LEAD_S,
    InverseSweep,
    advance_spectrum,
    cut_pass,
    inverse_sweep,
)
from analysis.signals.programme import Programme

FARTHEST_S: Final = LEAD_S - 0.005
"""Fifteen metres: the pulse must lie inside the cut."""

LEAST_CREST: Final = 30.0
"""A wire's response is one pulse: its peak stands out of its mean size by hundreds."""

OWN_DELAY_STD_M: Final = 0.03
"""One sigma of what crossover and drivers add: some 0.1 ms. Common practice, no source."""

FINE: Final = 8
"""Points a sample on which the pulse's peak is sought."""


@dataclass(frozen=True, kw_only=True, slots=True)
class AbsoluteDistances:
    """From each loudspeaker to the microphone.

    Attributes
    ----------
    std_m : float
        One sigma of both, mostly common.
    """

    left_m: float
    right_m: float
    std_m: float


def absolute_distances(
    reference: Float,
    *,
    aligned: AlignedPasses,
    programme: Programme,
    arrival: ArrivalMatch,
    air: Air,
) -> AbsoluteDistances | None:
    """Return the distances, or None where the wire tells nothing.

    Parameters
    ----------
    reference : ndarray, shape (n,)
        The wired input, sample by sample beside the microphone's recording.
    aligned : AlignedPasses
        Of the microphone's recording, at the programme's sampling frequency.

    Returns
    -------
    AbsoluteDistances or None
        None where no left pass is in the wire, samples were lost, or the clocks are one
        too many.
    """
    if aligned.blocks or aligned.clock.jump_after is not None:
        return None
    inverse = inverse_sweep(
        programme.sweep,
        sample_rate_hz=programme.sample_rate_hz,
        n_fft=aligned.n_fft,
        clock_ratio=aligned.clock.ratio,
    )
    wired_s = [
        _pulse_s(_wire_transfer(reference, at, aligned, programme, inverse), inverse)
        for at, extracted in enumerate(aligned.passes)
        if extracted.side == "L"
    ]
    heard_s = [at_s for at_s in wired_s if at_s is not None]
    if not heard_s:
        return None
    left_out_s = float(np.median(heard_s))
    speed = air.speed_of_sound_m_s
    left_m, right_m = ((at_s - left_out_s) * speed for at_s in (arrival.left_s, arrival.right_s))
    if not (left_m > 0 and right_m > 0):
        return None
    air_m = max(left_m, right_m) * air.speed_of_sound_std_m_s / speed
    return AbsoluteDistances(
        left_m=left_m, right_m=right_m, std_m=float(np.hypot(air_m, OWN_DELAY_STD_M))
    )


def _wire_transfer(
    reference: Float, at: int, aligned: AlignedPasses, programme: Programme, inverse: InverseSweep
) -> Complex:
    """Return the wire's transfer function in one pass, on the common time axis."""
    rate_hz = programme.sample_rate_hz
    begin_s = aligned.passes[at].first / rate_hz + LEAD_S
    length_s = programme.sweep.duration_s * aligned.clock.ratio + programme.tail_s
    cut, _, _ = cut_pass(reference, rate_hz, begin_s, length_s=length_s)
    spectrum = np.asarray(fft.rfft(cut, inverse.n_fft), dtype=np.complex128) * inverse.spectrum
    # Time zero then lies LEAD_S into the circle, as for the microphone.
    return advance_spectrum(spectrum, -(float(aligned.offsets_s[at]) + LEAD_S), inverse)


def _pulse_s(transfer: Complex, inverse: InverseSweep) -> float | None:
    """Return when the wire's pulse lies on the common axis, or None if there is none."""
    n_fine = FINE * inverse.n_fft
    circular = np.abs(fft.irfft(transfer, n_fine))
    reach = round((LEAD_S + 0.01) * FINE * inverse.sample_rate_hz)
    window = circular[:reach]
    top = int(np.argmax(window))
    if not 0 < top < reach - 1 or window[top] < LEAST_CREST * float(np.mean(circular)):
        return None
    before, peak, after = window[top - 1 : top + 2]
    bend = before - 2 * peak + after
    fraction = 0.5 * float((before - after) / bend) if bend < 0 else 0.0
    at_s = (top + fraction) / (FINE * inverse.sample_rate_hz) - LEAD_S
    return at_s if at_s > -FARTHEST_S else None
