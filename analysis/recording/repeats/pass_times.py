"""When each pass came, by its likeness to the other passes of its side.

Conventions: times in recorder seconds; *late* is how much later than programmed a pass came.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.basics.arrays import Float
from analysis.recording.disturbance.detection import Disturbance, clean_weights
from analysis.recording.extraction import ExtractedPass, indices_by_side
from analysis.recording.passes import PassAssignment
from analysis.recording.repeats.timing_response import (
    TimingResponse,
    timing_response,
    timing_weight,
)
from analysis.signals.deconvolution import LEAD_S, InverseSweep
from analysis.signals.delay import Delay, estimate_delay
from analysis.signals.programme import Programme

LEAST_SHARED = 0.1
"""Two passes are timed against each other if they share this part of the timing band's
octaves."""

UNLIKE, MORE_ALIKE = 0.9, 0.1
"""Two passes of one side are compared with the other side's if their correlation lies below
the first, and taken for another order's if one of those is higher by the second."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class PassTimes:
    """When each pass came.

    Attributes
    ----------
    late_s, std_s : ndarray, shape (n_passes,)
        How much later than programmed, and one sigma within its side. A pass that shares too
        little clean band with its side's best one is NaN and infinite.
    order_doubtful : bool
        Whether passes of one side are less alike than left and right.
    responses : tuple of TimingResponse
        What each pass was timed by, disturbed bands included.
    """

    late_s: Float
    std_s: Float
    order_doubtful: bool
    responses: tuple[TimingResponse, ...]


def pass_delays(
    passes: tuple[ExtractedPass, ...],
    nominal_inverse: InverseSweep,
    programme: Programme,
    assignment: PassAssignment,
    disturbance: Disturbance,
) -> PassTimes:
    """Return how much later than programmed each pass came, and one sigma within its side."""
    rate_hz = programme.sample_rate_hz
    edge = timing_weight(nominal_inverse.frequency_hz, programme)
    shares = (
        clean_weights(disturbance, nominal_inverse.frequency_hz)[0]
        if disturbance.direct.any()
        else None
    )
    weighted = nominal_inverse.spectrum * edge
    inverse = nominal_inverse
    responses = tuple(
        timing_response(extracted.spectrum, weighted, inverse, programme) for extracted in passes
    )
    octaves = edge / np.maximum(nominal_inverse.frequency_hz, 1.0)

    def delay(first: int, second: int, share: Float | None) -> Delay:
        pair = (
            responses[at]
            if share is None
            else timing_response(passes[at].spectrum, weighted * share, inverse, programme)
            for at in (first, second)
        )
        return estimate_delay(*(each.start() for each in pair), sample_rate_hz=rate_hz)

    late_s, std_s = np.zeros(len(passes)), np.full(len(passes), 1e-9)
    anchor: int | None = None
    least_alike = (UNLIKE, 0)
    for of_side in indices_by_side(passes):
        if shares is not None:
            of_side.sort(key=lambda at: -float((shares[at] * octaves).sum()))
        reference = of_side[0]
        if anchor is None:
            anchor = reference
        else:
            late_s[reference] = late_s[anchor] + delay(reference, anchor, None).delay_s
        for at in of_side[1:]:
            share = None if shares is None else shares[at] * shares[reference]
            if share is not None and (
                float((share * octaves).sum()) < LEAST_SHARED * float(octaves.sum())
            ):
                late_s[at], std_s[at] = np.nan, np.inf
                continue
            found = delay(at, reference, share)
            late_s[at], std_s[at] = late_s[reference] + found.delay_s, found.std_s
            if found.coherence < least_alike[0]:
                least_alike = (found.coherence, at)
        timed = [at for at in of_side[1:] if np.isfinite(std_s[at])]
        if timed:
            std_s[reference] = float(np.mean(std_s[timed])) / np.sqrt(2)
            std_s[timed] /= np.sqrt(2)
    starts_s = np.array([programme.starts_s[extracted.index] for extracted in passes])
    first_s = np.array([extracted.first for extracted in passes]) / rate_hz
    others = [
        delay(least_alike[1], at, None).coherence
        for at, extracted in enumerate(passes)
        if least_alike[0] < UNLIKE and extracted.side != passes[least_alike[1]].side
    ]
    order_doubtful = max(others, default=0.0) > least_alike[0] + MORE_ALIKE
    return PassTimes(
        late_s=late_s + first_s - starts_s - assignment.origin_s + LEAD_S,
        std_s=std_s,
        order_doubtful=order_doubtful,
        responses=responses,
    )
