"""Each pass cut out, its time line mended, and the clock known.

Conventions: as in `analysis.passes` and `analysis.clock`; a pass is *used* if it was
found, or if its place follows from the others and enough of it lies in the recording.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import scipy.fft as fft

from analysis.arrays import Complex, Float
from analysis.band_arrivals import Line, arrival_line
from analysis.clock import Clock, Delay, delay_between, fit_clock
from analysis.deconvolution import LEAD_S, Inverse, cut_pass, inverse_sweep
from analysis.lost_blocks import Block, Step, delay_step, locate, mend
from analysis.passes import Hit, Placement, find_hits, place
from analysis.programme import Programme
from analysis.spoilage import Cells, Harm, cells_of, clean_share, find_harm

TIMING_BAND_HZ = (250.0, 14_000.0)
"""Passes are timed over this band: clear of rumble below and of the microphone's and the
air's losses above."""

MIN_PRESENT, WHOLE = 0.15, 0.99
"""A pass cut by the recording's end is used from this share of its sweep on; one that is
there whole and still isn't found was not played."""

MAX_BESIDE = 4
"""So many sounds that are no pass are asked whether they are another sweep."""

LEAST_SHARED = 0.1
"""Two passes are timed against each other if they share this part of the timing band's
octaves."""

UNLIKE, MORE_ALIKE = 0.9, 0.1
"""Two passes of one side are compared with the other side's if their correlation lies below
the first, and taken for another order's if one of those is higher by the second."""

DOUBTFUL_SAMPLES = 0.25
"""One sigma of a delay that leaves the count of lost samples in doubt."""

MAX_BLOCKS = 4


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
class Aligned:
    """All passes of a recording with a common time line.

    Attributes
    ----------
    passes : tuple of UsedPass
    placement : Placement
    clock : Clock
    offsets_s : ndarray, shape (n_passes,)
        Common time of each cut's first sample, with the drift taken out.
    harm : Harm
        Which band of which pass is spoilt.
    cells : Cells
        What `harm` was judged by.
    blocks : tuple of Block
        Lost and repeated blocks that were mended, and zeroed ones.
    foreign : bool
        Whether another sweep was heard as well.
    n_strays : int
        How many passes of this sweep were heard where the programme has none.
    order_doubtful : bool
        Whether passes of one side are less alike than left and right.
    n_fft : int
    """

    passes: tuple[UsedPass, ...]
    placement: Placement
    clock: Clock
    offsets_s: Float
    harm: Harm
    cells: Cells
    blocks: tuple[Block, ...]
    foreign: bool
    n_strays: int
    order_doubtful: bool
    n_fft: int


def align(
    samples: Float,
    programme: Programme,
    *,
    zeroed: tuple[Block, ...] = (),
    step: float = 0.0,
) -> Aligned:
    """Find the passes, mend the time line, and estimate the clock difference.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel at the programme's sampling frequency.
    programme : Programme
    zeroed : tuple of Block
        Blocks known to hold no sound, in the same samples.
    step : float
        To which the samples were rounded, of full scale.

    Returns
    -------
    Aligned

    Raises
    ------
    NoPassError
        If no pass was found.
    """
    blocks = list(zeroed)
    while True:
        found = _find(samples, programme)
        passes, placement, plain = found.passes, found.placement, found.plain
        block = _lost_inside(passes, plain, programme) if len(blocks) < MAX_BLOCKS else None
        if block is None:
            break
        samples = mend(samples, block)
        blocks = [_moved(earlier, block) for earlier in blocks] + [block]
    harm, cells = _harm(passes, programme, tuple(blocks), step)
    late_s, std_s, order_doubtful = _lateness(passes, plain, programme, placement, harm)
    starts_s = np.array([programme.starts_s[used.index] for used in passes])
    sides = "".join(used.side for used in passes)
    rate_hz = programme.sample_rate_hz
    clock = fit_clock(starts_s, late_s, std_s, sides, sample_rate_hz=rate_hz)
    offsets_s = np.array([used.first for used in passes]) / rate_hz - placement.origin_s
    offsets_s -= _expected_s(clock, starts_s, late_s, sides)
    return Aligned(
        passes=passes,
        placement=placement,
        clock=clock,
        # Lost blocks move all passes alike; the arrivals stay near zero.
        offsets_s=offsets_s - float(np.median(offsets_s)) - LEAD_S,
        harm=harm,
        cells=cells,
        blocks=tuple(blocks),
        foreign=found.foreign,
        n_strays=found.n_strays,
        order_doubtful=order_doubtful,
        n_fft=plain.n_fft,
    )


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _Found:
    """The passes as found, without any mending."""

    passes: tuple[UsedPass, ...]
    placement: Placement
    plain: Inverse
    foreign: bool
    n_strays: int


def _find(samples: Float, programme: Programme) -> _Found:
    """Find and cut the passes of the programme's own sweep."""
    rate_hz, sweep = programme.sample_rate_hz, programme.sweep
    n_fft = fft.next_fast_len(_n_cut(programme) + 1, real=True)
    plain = inverse_sweep(sweep, sample_rate_hz=rate_hz, n_fft=n_fft)
    hits = list(find_hits(samples, programme))
    foreign = False
    while (
        placement := place(tuple(hits), programme, recorded_s=samples.size / rate_hz)
    ) is not None:
        passes = _cut_all(samples, programme, placement, n_fft)
        hit_of = dict(placement.passes)
        lines = {hit_of[used.index]: _line(used, plain, programme) for used in passes if used.found}
        others = [hit for hit, line in lines.items() if not line.is_ours(sweep.growth_s)]
        if not others:
            beside = _lines_beside(samples, hits, placement, plain, programme)
            return _Found(
                passes=passes,
                placement=placement,
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
    placement: Placement,
    plain: Inverse,
    programme: Programme,
) -> list[Line]:
    """Return the lines of the hits that are no pass."""
    placed = [hit for _, hit in placement.passes]
    beside = [hit for hit in hits if hit not in placed][:MAX_BESIDE]
    return [
        _line(_cut_one(samples, programme, 0, hit.start_s, plain.n_fft), plain, programme)
        for hit in beside
    ]


def _line(used: UsedPass, plain: Inverse, programme: Programme) -> Line:
    """Return the line on which a pass's bands arrive."""
    return arrival_line(
        used.spectrum * plain.spectrum,
        n_fft=plain.n_fft,
        sample_rate_hz=programme.sample_rate_hz,
        band_hz=_band_held(used, programme),
    )


def _expected_s(clock: Clock, starts_s: Float, late_s: Float, sides: str) -> Float:
    """Return when each pass should have come after the first sample, in recorder seconds."""
    expected_s = clock.ratio * starts_s
    if clock.placed:
        if clock.jump_after is not None:
            expected_s[clock.jump_after + 1 :] += clock.jump_s
        return expected_s
    # Nothing says what left and right were apart; each side's repeats still fit together.
    for side in "LR":
        timed = [
            at for at, letter in enumerate(sides) if letter == side and late_s[at] == late_s[at]
        ]
        for at in timed:
            expected_s[at] = expected_s[timed[0]] + (
                starts_s[at] + late_s[at] - starts_s[timed[0]] - late_s[timed[0]]
            )
    return expected_s


def _moved(earlier: Block, block: Block) -> Block:
    """Return an earlier block at its place after `block` was mended."""
    if earlier.at < block.at:
        return earlier
    shift = block.n_samples if block.kind == "missing" else -block.n_samples
    return replace(earlier, at=earlier.at + shift)


def _n_cut(programme: Programme) -> int:
    """Return how many samples a pass's cut has."""
    length_s = programme.sweep.duration_s + programme.tail_s
    return round((length_s + LEAD_S) * programme.sample_rate_hz)


def _cut_all(
    samples: Float, programme: Programme, placement: Placement, n_fft: int
) -> tuple[UsedPass, ...]:
    """Cut every pass of which enough was recorded."""
    hit_of = dict(placement.passes)
    heard_sides = {programme.order[index] for index in hit_of}
    swept = programme.sweep.duration_s * programme.sample_rate_hz
    passes = []
    for index, start_s in enumerate(programme.starts_s):
        hit = hit_of.get(index)
        begin_s = hit.start_s if hit else placement.origin_s + start_s
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


def _pairs(passes: tuple[UsedPass, ...]) -> list[tuple[UsedPass, UsedPass]]:
    """Return each side's neighbouring passes."""
    pairs: list[tuple[UsedPass, UsedPass]] = []
    for side in "LR":
        of_side = [used for used in passes if used.side == side]
        pairs += pairwise(of_side)
    return pairs


def _band_held(used: UsedPass, programme: Programme) -> tuple[float, float]:
    """Return the lowest and highest frequency whose sweep and decay were recorded."""
    sweep, rate_hz = programme.sweep, programme.sample_rate_hz
    begin_s = used.present.start / rate_hz - LEAD_S
    end_s = used.present.stop / rate_hz - LEAD_S - 0.3
    low_hz = sweep.frequency_at(begin_s) if begin_s > 0 else sweep.start_hz
    high_hz = sweep.frequency_at(end_s) if end_s < sweep.duration_s else sweep.stop_hz
    return float(low_hz), float(high_hz)


def _lost_inside(
    passes: tuple[UsedPass, ...], plain: Inverse, programme: Programme
) -> Block | None:
    """Find one block lost or repeated inside a pass."""
    rate_hz = programme.sample_rate_hz
    reach = round(min(0.6, programme.sweep.duration_s / 2) * rate_hz)
    window = np.arange(-reach, round(min(programme.tail_s, 0.8) * rate_hz))
    for earlier, later in _pairs(passes):
        stretches = [
            np.take(fft.irfft(used.spectrum * plain.spectrum, plain.n_fft), window, mode="wrap")
            for used in (earlier, later)
        ]
        held = [_band_held(used, programme) for used in (earlier, later)]
        step = delay_step(
            *stretches,
            sample_rate_hz=rate_hz,
            band_hz=(max(held[0][0], held[1][0]), min(held[0][1], held[1][1])),
        )
        n_samples = round((step.high_s - step.low_s) * rate_hz) if step else 0
        if step is None or n_samples == 0:
            continue
        # A step of the earlier against the later: lost (early after it) from the earlier,
        # or repeated (late after it) in the later; and the other way round.
        options = [(earlier, later, step.low_s, step.high_s, -n_samples)]
        options.append((later, earlier, -step.low_s, -step.high_s, n_samples))
        mismatches = [
            _mismatch(passes, programme, (earlier, later), step, lost, faulty)
            for faulty, _, _, _, lost in options
        ]
        faulty, other, low_s, high_s, lost = options[int(np.argmin(mismatches))]
        at = locate(
            faulty.samples, other.samples, low_s=low_s, high_s=high_s, sample_rate_hz=rate_hz
        )
        if at is not None and _near_step(at, faulty, step, n_samples, programme):
            kind = "missing" if lost > 0 else "repeated"
            doubtful = _doubtful(step, sample_rate_hz=rate_hz)
            return Block(at=faulty.first + at, n_samples=abs(lost), kind=kind, doubtful=doubtful)
    return None


def _doubtful(step: Step, *, sample_rate_hz: float) -> str | None:
    """Return the part of a pass whose place a block leaves uncertain by a sample."""
    low_std, high_std = step.low_std_s * sample_rate_hz, step.high_std_s * sample_rate_hz
    if max(low_std, high_std) < DOUBTFUL_SAMPLES:
        return None
    return "before" if low_std > high_std else "after"


def _near_step(at: int, faulty: UsedPass, step: Step, n_samples: int, programme: Programme) -> bool:
    """Say whether a block lies where the sweep played what the step foretells."""
    at_s = at / programme.sample_rate_hz - LEAD_S
    reach_s = 1.5 * programme.sweep.duration_s / programme.sweep.octaves + 0.1
    reach_s += abs(n_samples) / programme.sample_rate_hz
    near = abs(at_s - float(programme.sweep.time_at(step.frequency_hz))) < reach_s
    return near and faulty.present.start < at < faulty.present.stop


def _mismatch(
    passes: tuple[UsedPass, ...],
    programme: Programme,
    pair: tuple[UsedPass, UsedPass],
    step: Step,
    lost: int,
    faulty: UsedPass,
) -> float:
    """Return how badly the drifts of both sides fit, were `lost` samples put back."""
    rate_hz = programme.sample_rate_hz

    def drift(first: UsedPass, second: UsedPass, extra_s: float) -> float:
        planned_s = programme.starts_s[second.index] - programme.starts_s[first.index]
        return ((second.first - first.first) / rate_hz + extra_s - planned_s) / planned_s

    # The part of the pair that keeps its spacing: before the fault in the later pass,
    # after it in the earlier one.
    delay_s = step.low_s if faulty is pair[1] else step.high_s
    own = drift(*pair, -delay_s)
    others = [
        drift(first, second, lost / rate_hz if first.index < faulty.index < second.index else 0)
        for first, second in _pairs(passes)
        if first.side != faulty.side and first.found and second.found
    ]
    return abs(own - float(np.mean(others))) if others else abs(own)


def _harm(
    passes: tuple[UsedPass, ...], programme: Programme, blocks: tuple[Block, ...], step: float
) -> tuple[Harm, Cells]:
    """Find the spoilt stretches, with what is known to be missing."""
    rate_hz = programme.sample_rate_hz
    sides = "".join(used.side for used in passes)
    missing = []
    for used in passes:
        gaps = []
        if used.present.start > LEAD_S * rate_hz:
            gaps.append((-LEAD_S, used.present.start / rate_hz - LEAD_S))
        if used.present.stop < used.samples.size:
            gaps.append((used.present.stop / rate_hz - LEAD_S, programme.sweep.duration_s + 9.0))
        for block in blocks:
            begin_s = (block.at - used.first) / rate_hz - LEAD_S
            width_s = 0.0 if block.kind == "repeated" else block.n_samples / rate_hz
            if -LEAD_S - width_s < begin_s < programme.sweep.duration_s + programme.tail_s:
                gaps.append(_gap_s(block, begin_s, begin_s + width_s, programme))
        missing.append(tuple(gaps))
    cells = cells_of(
        [used.samples for used in passes],
        sample_rate_hz=rate_hz,
        present=[used.present for used in passes],
        step=step,
    )
    harm = find_harm(
        cells, programme.sweep, sides, window_s=programme.tail_s, missing_s=tuple(missing)
    )
    return harm, cells


def _gap_s(block: Block, begin_s: float, end_s: float, programme: Programme) -> tuple[float, float]:
    """Return the part of a pass that a block spoils, in seconds from its sweep's start."""
    if block.doubtful == "before":
        return -LEAD_S, end_s
    if block.doubtful == "after":
        return begin_s, programme.sweep.duration_s + programme.tail_s
    return begin_s, end_s


def _lateness(
    passes: tuple[UsedPass, ...],
    plain: Inverse,
    programme: Programme,
    placement: Placement,
    harm: Harm,
) -> tuple[Float, Float, bool]:
    """Return how much later than programmed each pass came, and one sigma within its side.

    The third value says whether passes of one side are less alike than left and right. A
    pass that shares too little clean band with its side's best one is NaN and infinite.
    """
    rate_hz = programme.sample_rate_hz
    edge = _timing_weight(plain.frequency_hz, programme)
    shares = clean_share(harm, plain.frequency_hz)[0] if harm.direct.any() else None
    weighted = plain.spectrum * edge
    window = np.arange(round((LEAD_S - 0.02) * rate_hz), round((LEAD_S + 0.1) * rate_hz))
    octaves = edge / np.maximum(plain.frequency_hz, 1.0)

    def delay(first: int, second: int, share: Float | float) -> Delay:
        stretches = [
            np.take(
                fft.irfft(passes[at].spectrum * weighted * share, plain.n_fft), window, mode="wrap"
            )
            for at in (first, second)
        ]
        return delay_between(*stretches, sample_rate_hz=rate_hz)

    late_s, std_s = np.zeros(len(passes)), np.full(len(passes), 1e-9)
    anchor: int | None = None
    least_alike = (UNLIKE, 0)
    for of_side in _by_side(passes):
        if shares is not None:
            of_side.sort(key=lambda at: -float((shares[at] * octaves).sum()))
        reference = of_side[0]
        if anchor is None:
            anchor = reference
        else:
            late_s[reference] = late_s[anchor] + delay(reference, anchor, 1.0).delay_s
        for at in of_side[1:]:
            share = 1.0 if shares is None else shares[at] * shares[reference]
            if float((share * octaves).sum()) < LEAST_SHARED * float(octaves.sum()):
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
    starts_s = np.array([programme.starts_s[used.index] for used in passes])
    first_s = np.array([used.first for used in passes]) / rate_hz
    others = [
        delay(least_alike[1], at, 1.0).coherence
        for at, used in enumerate(passes)
        if least_alike[0] < UNLIKE and used.side != passes[least_alike[1]].side
    ]
    order_doubtful = max(others, default=0.0) > least_alike[0] + MORE_ALIKE
    return late_s + first_s - starts_s - placement.origin_s + LEAD_S, std_s, order_doubtful


def _timing_weight(frequency_hz: Float, programme: Programme) -> Float:
    """Return the weight of each frequency in timing the passes, 0 to 1."""
    sweep = programme.sweep
    high_hz = min(TIMING_BAND_HZ[1], 0.8 * sweep.stop_hz)
    low_hz = max(min(TIMING_BAND_HZ[0], high_hz / 4), 1.5 * sweep.start_hz)
    rise = np.clip(np.log2(np.maximum(frequency_hz, 1) / low_hz) * 2, 0, 1)
    fall = np.clip(np.log2(high_hz / np.maximum(frequency_hz, 1)) * 4, 0, 1)
    return np.asarray(rise * fall)


def _by_side(passes: tuple[UsedPass, ...]) -> list[list[int]]:
    """Return the positions of each side's passes, of the sides that have any."""
    sides = [[at for at, used in enumerate(passes) if used.side == side] for side in "LR"]
    return [of_side for of_side in sides if of_side]
