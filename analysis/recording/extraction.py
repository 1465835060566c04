"""The programme's passes, found and cut out of the recording.

Conventions: as in `analysis.recording.passes`; a pass is *extracted* if it was found, or if its
place follows from the others and enough of it lies in the recording.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import scipy.fft as fft

from analysis.basics.arrays import Complex, Float
from analysis.recording.band_arrivals import ArrivalLine, fit_arrival_line
from analysis.recording.passes import Hit, PassAssignment, assign_hits, find_hits
from analysis.signals.deconvolution import LEAD_S, InverseSweep, cut_pass, inverse_sweep
from analysis.signals.programme import Programme

LEAST_RECORDED, WHOLE_PASS = 0.15, 0.99
"""A pass cut by the recording's end is used from this share of its sweep on; one that is
there whole and still isn't found was not played."""

MAX_BESIDE = 4
"""So many sounds that are no pass are asked whether they are another sweep."""


class NoPassError(ValueError):
    """No pass of the programme was found; `other_sweep` says whether another sweep was."""

    def __init__(self, *, other_sweep: bool) -> None:
        super().__init__("no pass found")
        self.other_sweep = other_sweep


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class ExtractedPass:
    """One pass as cut from the recording.

    Attributes
    ----------
    index : int
        Its place in the programme's order.
    first : int
        Sample index at which its cut begins.
    recorded : slice
        The part of the cut that comes from the recording.
    found : bool
        Whether it was heard by itself, not only placed by the others.
    spectrum : ndarray of complex
        Spectrum of its cut.
    samples : ndarray, shape (n,)
        The cut.
    """

    index: int
    side: str
    first: int
    recorded: slice
    found: bool
    spectrum: Complex
    samples: Float


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class ExtractedPasses:
    """The passes as cut, before any repair.

    Attributes
    ----------
    nominal_inverse : InverseSweep
        Of the sweep without any clock difference.
    other_sweep : bool
        Whether another sweep was heard as well.
    n_unexpected : int
        How many passes of this sweep were heard where the programme has none.
    """

    passes: tuple[ExtractedPass, ...]
    assignment: PassAssignment
    nominal_inverse: InverseSweep
    other_sweep: bool
    n_unexpected: int


def extract_passes(samples: Float, programme: Programme) -> ExtractedPasses:
    """Find and cut the passes of the programme's own sweep.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel at the programme's sampling frequency.

    Raises
    ------
    NoPassError
        If there is none.
    """
    rate_hz, sweep = programme.sample_rate_hz, programme.sweep
    n_fft = fft.next_fast_len(_cut_size(programme) + 1, real=True)
    nominal_inverse = inverse_sweep(sweep, sample_rate_hz=rate_hz, n_fft=n_fft)
    hits = list(find_hits(samples, programme))
    other_sweep = False
    while (
        assignment := assign_hits(tuple(hits), programme, recorded_s=samples.size / rate_hz)
    ) is not None:
        passes = _cut_all(samples, programme, assignment, n_fft)
        hit_of = dict(assignment.passes)
        lines = {
            hit_of[extracted.index]: _fit_line(extracted, nominal_inverse, programme)
            for extracted in passes
            if extracted.found
        }
        others = [hit for hit, line in lines.items() if not line.is_programme_sweep(sweep.growth_s)]
        if not others:
            beside = _fit_unassigned(samples, hits, assignment, nominal_inverse, programme)
            return ExtractedPasses(
                passes=passes,
                assignment=assignment,
                nominal_inverse=nominal_inverse,
                other_sweep=other_sweep
                or any(line.is_other_sweep(sweep.growth_s) for line in beside),
                n_unexpected=sum(line.is_programme_sweep(sweep.growth_s) for line in beside),
            )
        other_sweep |= any(lines[hit].is_other_sweep(sweep.growth_s) for hit in others)
        hits = [hit for hit in hits if hit not in others]
    raise NoPassError(other_sweep=other_sweep)


def _fit_unassigned(
    samples: Float,
    hits: list[Hit],
    assignment: PassAssignment,
    nominal_inverse: InverseSweep,
    programme: Programme,
) -> list[ArrivalLine]:
    """Return the lines of the hits that are no pass."""
    placed = [hit for _, hit in assignment.passes]
    beside = [hit for hit in hits if hit not in placed][:MAX_BESIDE]
    return [
        _fit_line(
            _cut_one(samples, programme, 0, hit.start_s, nominal_inverse.n_fft),
            nominal_inverse,
            programme,
        )
        for hit in beside
    ]


def _fit_line(
    extracted: ExtractedPass, nominal_inverse: InverseSweep, programme: Programme
) -> ArrivalLine:
    """Return the line on which a pass's bands arrive."""
    return fit_arrival_line(
        extracted.spectrum * nominal_inverse.spectrum,
        n_fft=nominal_inverse.n_fft,
        sample_rate_hz=programme.sample_rate_hz,
        band_hz=recorded_band_hz(extracted, programme),
    )


def _cut_size(programme: Programme) -> int:
    """Return how many samples a pass's cut has."""
    length_s = programme.sweep.duration_s + programme.tail_s
    return round((length_s + LEAD_S) * programme.sample_rate_hz)


def _cut_all(
    samples: Float, programme: Programme, assignment: PassAssignment, n_fft: int
) -> tuple[ExtractedPass, ...]:
    """Cut every pass of which enough was recorded."""
    hit_of = dict(assignment.passes)
    heard_sides = {programme.order[index] for index in hit_of}
    swept = programme.sweep.duration_s * programme.sample_rate_hz
    passes = []
    for index, start_s in enumerate(programme.starts_s):
        hit = hit_of.get(index)
        begin_s = hit.start_s if hit else assignment.origin_s + start_s
        extracted = _cut_one(samples, programme, index, begin_s, n_fft, found=hit is not None)
        share = (min(extracted.recorded.stop, swept) - extracted.recorded.start) / swept
        if hit or (extracted.side in heard_sides and LEAST_RECORDED <= share <= WHOLE_PASS):
            passes.append(extracted)
    return tuple(passes)


def _cut_one(
    samples: Float,
    programme: Programme,
    index: int,
    begin_s: float,
    n_fft: int,
    *,
    found: bool = True,
) -> ExtractedPass:
    """Cut one pass whose sweep begins at `begin_s`."""
    length_s = programme.sweep.duration_s + programme.tail_s
    cut, first, present = cut_pass(samples, programme.sample_rate_hz, begin_s, length_s=length_s)
    return ExtractedPass(
        index=index,
        side=programme.order[index],
        first=first,
        recorded=present,
        found=found,
        spectrum=fft.rfft(cut, n_fft),
        samples=cut,
    )


def repeat_pairs(passes: tuple[ExtractedPass, ...]) -> list[tuple[ExtractedPass, ExtractedPass]]:
    """Return each side's neighbouring passes."""
    pairs: list[tuple[ExtractedPass, ExtractedPass]] = []
    for side in "LR":
        of_side = [extracted for extracted in passes if extracted.side == side]
        pairs += pairwise(of_side)
    return pairs


def indices_by_side(passes: tuple[ExtractedPass, ...]) -> list[list[int]]:
    """Return the positions of each side's passes, of the sides that have any."""
    sides = [[at for at, extracted in enumerate(passes) if extracted.side == side] for side in "LR"]
    return [of_side for of_side in sides if of_side]


def recorded_band_hz(extracted: ExtractedPass, programme: Programme) -> tuple[float, float]:
    """Return the lowest and highest frequency whose sweep and decay were recorded.

    Returns
    -------
    low_hz, high_hz : float
    """
    sweep, rate_hz = programme.sweep, programme.sample_rate_hz
    begin_s = extracted.recorded.start / rate_hz - LEAD_S
    end_s = extracted.recorded.stop / rate_hz - LEAD_S - 0.3
    low_hz = sweep.frequency_at(begin_s) if begin_s > 0 else sweep.start_hz
    high_hz = sweep.frequency_at(end_s) if end_s < sweep.duration_s else sweep.stop_hz
    return float(low_hz), float(high_hz)
