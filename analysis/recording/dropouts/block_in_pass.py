"""A block lost or repeated inside a pass: found by the other pass of the same side.

Conventions: as in `analysis.recording.dropouts.delay_step`, where the search itself is.
"""

from __future__ import annotations

import numpy as np
import scipy.fft as fft
from numpy.typing import NDArray

from analysis.basics.arrays import Float
from analysis.recording.dropouts.block import DropoutBlock
from analysis.recording.dropouts.delay_step import (
    DelayStep,
    find_delay_step,
    locate_step,
)
from analysis.recording.extraction import ExtractedPass, recorded_band_hz, repeat_pairs
from analysis.signals.deconvolution import LEAD_S, InverseSweep
from analysis.signals.delay import estimate_delay
from analysis.signals.programme import Programme

DOUBTFUL_SAMPLES = 0.25
"""One sigma of a delay that leaves the count of lost samples in doubt."""


def find_block(
    passes: tuple[ExtractedPass, ...], nominal_inverse: InverseSweep, programme: Programme
) -> DropoutBlock | None:
    """Find one block lost or repeated inside a pass.

    Parameters
    ----------
    nominal_inverse : InverseSweep
        Of the sweep without any clock difference.
    """
    rate_hz = programme.sample_rate_hz
    for pair in repeat_pairs(passes):
        step = _find_step(pair, nominal_inverse, programme)
        n_samples = round((step.high_s - step.low_s) * rate_hz) if step else 0
        if step is None or n_samples == 0:
            continue
        # A step of the earlier against the later: lost (early after it) from the earlier,
        # or repeated (late after it) in the later; and the other way round.
        options = [(*pair, step.low_s, step.high_s, -n_samples)]
        options.append((*pair[::-1], -step.low_s, -step.high_s, n_samples))
        mismatches = [
            _drift_mismatch(passes, programme, nominal_inverse, pair, step, lost, faulty)
            for faulty, _, _, _, lost in options
        ]
        faulty, other, low_s, high_s, lost = options[int(np.argmin(mismatches))]
        at = locate_step(
            faulty.samples, other.samples, low_s=low_s, high_s=high_s, sample_rate_hz=rate_hz
        )
        if at is not None and _is_near_step(at, faulty, step, n_samples, programme):
            kind = "missing" if lost > 0 else "repeated"
            doubtful = _doubtful_part(step, sample_rate_hz=rate_hz)
            return DropoutBlock(
                at=faulty.first + at, n_samples=abs(lost), kind=kind, doubtful=doubtful
            )
    return None


def _find_step(
    pair: tuple[ExtractedPass, ExtractedPass], nominal_inverse: InverseSweep, programme: Programme
) -> DelayStep | None:
    """Look for a step in the delay between two passes of a side."""
    rate_hz = programme.sample_rate_hz
    reach = round(min(0.6, programme.sweep.duration_s / 2) * rate_hz)
    window = np.arange(-reach, round(min(programme.tail_s, 0.8) * rate_hz))
    low_hz, high_hz = zip(
        *(recorded_band_hz(extracted, programme) for extracted in pair), strict=True
    )
    return find_delay_step(
        *(_response_stretch(extracted, nominal_inverse, window) for extracted in pair),
        sample_rate_hz=rate_hz,
        band_hz=(max(low_hz), min(high_hz)),
    )


def _response_stretch(
    extracted: ExtractedPass, nominal_inverse: InverseSweep, window: NDArray[np.intp]
) -> Float:
    """Return a stretch of a pass's circular response."""
    return np.take(
        fft.irfft(extracted.spectrum * nominal_inverse.spectrum, nominal_inverse.n_fft),
        window,
        mode="wrap",
    )


def _doubtful_part(step: DelayStep, *, sample_rate_hz: float) -> str | None:
    """Return the part of a pass whose place a block leaves uncertain by a sample."""
    low_std, high_std = step.low_std_s * sample_rate_hz, step.high_std_s * sample_rate_hz
    if max(low_std, high_std) < DOUBTFUL_SAMPLES:
        return None
    return "before" if low_std > high_std else "after"


def _is_near_step(
    at: int, faulty: ExtractedPass, step: DelayStep, n_samples: int, programme: Programme
) -> bool:
    """Say whether a block lies where the sweep played what the step predicts."""
    at_s = at / programme.sample_rate_hz - LEAD_S
    reach_s = 1.5 * programme.sweep.duration_s / programme.sweep.octaves + 0.1
    reach_s += abs(n_samples) / programme.sample_rate_hz
    near = abs(at_s - float(programme.sweep.time_at(step.frequency_hz))) < reach_s
    return near and faulty.recorded.start < at < faulty.recorded.stop


def _drift_mismatch(
    passes: tuple[ExtractedPass, ...],
    programme: Programme,
    nominal_inverse: InverseSweep,
    pair: tuple[ExtractedPass, ExtractedPass],
    step: DelayStep,
    lost: int,
    faulty: ExtractedPass,
) -> float:
    """Return how badly the drifts of both sides fit, were `lost` samples put back."""
    rate_hz = programme.sample_rate_hz

    def drift(first: ExtractedPass, second: ExtractedPass, extra_s: float) -> float:
        planned_s = programme.starts_s[second.index] - programme.starts_s[first.index]
        return ((second.first - first.first) / rate_hz + extra_s - planned_s) / planned_s

    # The part of the pair that keeps its spacing: before the fault in the later pass,
    # after it in the earlier one.
    delay_s = step.low_s if faulty is pair[1] else step.high_s
    own = drift(*pair, -delay_s)
    others = []
    for first, second in repeat_pairs(passes):
        if first.side != faulty.side and first.found and second.found:
            spanned = first.index < faulty.index < second.index
            extra_s = lost / rate_hz if spanned else 0.0
            others.append(
                drift(first, second, extra_s - _arrival_delay_s(first, second, nominal_inverse))
            )
    return abs(own - float(np.mean(others))) if others else abs(own)


def _arrival_delay_s(
    first: ExtractedPass, second: ExtractedPass, nominal_inverse: InverseSweep
) -> float:
    """Return how much later a pass's arrival lies in its cut than another's.

    Each was cut at its strongest arrival, which may be another reflection in each.
    """
    rate_hz = nominal_inverse.sample_rate_hz
    window = np.arange(round((LEAD_S - 0.02) * rate_hz), round((LEAD_S + 0.1) * rate_hz))
    stretches = [
        _response_stretch(extracted, nominal_inverse, window) for extracted in (first, second)
    ]
    return estimate_delay(*stretches, sample_rate_hz=rate_hz).delay_s
