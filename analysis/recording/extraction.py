"""The programme's passes, found and cut out of the recording.

Conventions: as in `analysis.recording.passes`; a pass is *used* if it was found, or if its place
follows from the others and enough of it lies in the recording.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import scipy.fft as fft

from analysis.basics.arrays import Complex, Float
from analysis.recording.band_arrivals import ArrivalLine, arrival_line
from analysis.recording.passes import Hit, PassAssignment, find_hits, place
from analysis.signals.deconvolution import LEAD_S, Inverse, cut_pass, inverse_sweep
from analysis.signals.programme import Programme

MIN_PRESENT, WHOLE = 0.15, 0.99
"""A pass cut by the recording's end is used from this share of its sweep on; one that is
there whole and still isn't found was not played."""

MAX_BESIDE = 4
"""So many sounds that are no pass are asked whether they are another sweep."""


class NoPassError(ValueError):
    """No pass of the programme was found; `foreign` tells of another sweep."""

    def __init__(self, *, foreign: bool) -> None:
        super().__init__("no pass found")
        self.foreign = foreign


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class UsedPass:
    """One pass as cut from the recording.

    Attributes
    ----------
    index : int
        Its place in the programme's order.
    side : str
    first : int
        Sample index at which its cut begins.
    present : slice
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
    present: slice
    found: bool
    spectrum: Complex
    samples: Float


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class FoundPasses:
    """The passes as found, before any mending.

    Attributes
    ----------
    passes : tuple of UsedPass
    assignment : PassAssignment
    plain : Inverse
        Of the sweep without any clock difference.
    foreign : bool
        Whether another sweep was heard as well.
    n_strays : int
        How many passes of this sweep were heard where the programme has none.
    """

    passes: tuple[UsedPass, ...]
    assignment: PassAssignment
    plain: Inverse
    foreign: bool
    n_strays: int


def find_passes(samples: Float, programme: Programme) -> FoundPasses:
    """Find and cut the passes of the programme's own sweep.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel at the programme's sampling frequency.
    programme : Programme

    Returns
    -------
    FoundPasses

    Raises
    ------
    NoPassError
        If there is none.
    """
    rate_hz, sweep = programme.sample_rate_hz, programme.sweep
    n_fft = fft.next_fast_len(_n_cut(programme) + 1, real=True)
    plain = inverse_sweep(sweep, sample_rate_hz=rate_hz, n_fft=n_fft)
    hits = list(find_hits(samples, programme))
    foreign = False
    while (
        assignment := place(tuple(hits), programme, recorded_s=samples.size / rate_hz)
    ) is not None:
        passes = _cut_all(samples, programme, assignment, n_fft)
        hit_of = dict(assignment.passes)
        lines = {hit_of[used.index]: _line(used, plain, programme) for used in passes if used.found}
        others = [hit for hit, line in lines.items() if not line.is_ours(sweep.growth_s)]
        if not others:
            beside = _lines_beside(samples, hits, assignment, plain, programme)
            return FoundPasses(
                passes=passes,
                assignment=assignment,
                plain=plain,
                foreign=foreign or any(line.is_foreign(sweep.growth_s) for line in beside),
                n_strays=sum(line.is_ours(sweep.growth_s) for line in beside),
            )
        foreign |= any(lines[hit].is_foreign(sweep.growth_s) for hit in others)
        hits = [hit for hit in hits if hit not in others]
    raise NoPassError(foreign=foreign)


def _lines_beside(
    samples: Float,
    hits: list[Hit],
    assignment: PassAssignment,
    plain: Inverse,
    programme: Programme,
) -> list[ArrivalLine]:
    """Return the lines of the hits that are no pass."""
    placed = [hit for _, hit in assignment.passes]
    beside = [hit for hit in hits if hit not in placed][:MAX_BESIDE]
    return [
        _line(_cut_one(samples, programme, 0, hit.start_s, plain.n_fft), plain, programme)
        for hit in beside
    ]


def _line(used: UsedPass, plain: Inverse, programme: Programme) -> ArrivalLine:
    """Return the line on which a pass's bands arrive."""
    return arrival_line(
        used.spectrum * plain.spectrum,
        n_fft=plain.n_fft,
        sample_rate_hz=programme.sample_rate_hz,
        band_hz=band_held(used, programme),
    )


def _n_cut(programme: Programme) -> int:
    """Return how many samples a pass's cut has."""
    length_s = programme.sweep.duration_s + programme.tail_s
    return round((length_s + LEAD_S) * programme.sample_rate_hz)


def _cut_all(
    samples: Float, programme: Programme, assignment: PassAssignment, n_fft: int
) -> tuple[UsedPass, ...]:
    """Cut every pass of which enough was recorded."""
    hit_of = dict(assignment.passes)
    heard_sides = {programme.order[index] for index in hit_of}
    swept = programme.sweep.duration_s * programme.sample_rate_hz
    passes = []
    for index, start_s in enumerate(programme.starts_s):
        hit = hit_of.get(index)
        begin_s = hit.start_s if hit else assignment.origin_s + start_s
        used = _cut_one(samples, programme, index, begin_s, n_fft, found=hit is not None)
        share = (min(used.present.stop, swept) - used.present.start) / swept
        if hit or (used.side in heard_sides and MIN_PRESENT <= share <= WHOLE):
            passes.append(used)
    return tuple(passes)


def _cut_one(
    samples: Float,
    programme: Programme,
    index: int,
    begin_s: float,
    n_fft: int,
    *,
    found: bool = True,
) -> UsedPass:
    """Cut one pass whose sweep begins at `begin_s`."""
    length_s = programme.sweep.duration_s + programme.tail_s
    cut, first, present = cut_pass(samples, programme.sample_rate_hz, begin_s, length_s=length_s)
    return UsedPass(
        index=index,
        side=programme.order[index],
        first=first,
        present=present,
        found=found,
        spectrum=fft.rfft(cut, n_fft),
        samples=cut,
    )


def repeats(passes: tuple[UsedPass, ...]) -> list[tuple[UsedPass, UsedPass]]:
    """Return each side's neighbouring passes.

    Parameters
    ----------
    passes : tuple of UsedPass

    Returns
    -------
    list of (UsedPass, UsedPass)
    """
    pairs: list[tuple[UsedPass, UsedPass]] = []
    for side in "LR":
        of_side = [used for used in passes if used.side == side]
        pairs += pairwise(of_side)
    return pairs


def by_side(passes: tuple[UsedPass, ...]) -> list[list[int]]:
    """Return the positions of each side's passes, of the sides that have any.

    Parameters
    ----------
    passes : tuple of UsedPass

    Returns
    -------
    list of list of int
    """
    sides = [[at for at, used in enumerate(passes) if used.side == side] for side in "LR"]
    return [of_side for of_side in sides if of_side]


def band_held(used: UsedPass, programme: Programme) -> tuple[float, float]:
    """Return the lowest and highest frequency whose sweep and decay were recorded.

    Parameters
    ----------
    used : UsedPass
    programme : Programme

    Returns
    -------
    low_hz, high_hz : float
    """
    sweep, rate_hz = programme.sweep, programme.sample_rate_hz
    begin_s = used.present.start / rate_hz - LEAD_S
    end_s = used.present.stop / rate_hz - LEAD_S - 0.3
    low_hz = sweep.frequency_at(begin_s) if begin_s > 0 else sweep.start_hz
    high_hz = sweep.frequency_at(end_s) if end_s < sweep.duration_s else sweep.stop_hz
    return float(low_hz), float(high_hz)
