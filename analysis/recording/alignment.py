"""The recording's passes with their time line mended and the clock known.

Conventions: as in `analysis.recording.extraction` and `analysis.recording.clock`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.basics.arrays import Float
from analysis.recording.clock import Clock, fit_clock
from analysis.recording.disturbance.detection import Harm, find_harm
from analysis.recording.disturbance.spectrogram import Cells, cells_of
from analysis.recording.dropouts.detection import Block, mend
from analysis.recording.dropouts.repair import lost_inside
from analysis.recording.dropouts.sweep_end import without_tops
from analysis.recording.extraction import FoundPasses, UsedPass, find_passes
from analysis.recording.pass_times import lateness
from analysis.recording.passes import PassAssignment
from analysis.signals.deconvolution import LEAD_S
from analysis.signals.programme import Programme

MAX_BLOCKS = 4


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Aligned:
    """All passes of a recording with a common time line.

    Attributes
    ----------
    passes : tuple of UsedPass
    assignment : PassAssignment
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
    assignment: PassAssignment
    clock: Clock
    offsets_s: Float
    harm: Harm
    cells: Cells
    blocks: tuple[Block, ...]
    foreign: bool
    n_strays: int
    order_doubtful: bool
    n_fft: int


@dataclass(frozen=True, kw_only=True, slots=True)
class PassReport:
    """One pass of the programme in the recording.

    Attributes
    ----------
    number : int
        From 1.
    side : str
        "left" or "right".
    start_s : float
        Where it lies in the recording, in seconds.
    found : bool
        Heard by itself; otherwise placed by the others.
    left_out : tuple of str
        What of it was left out, and why.
    """

    number: int
    side: str
    start_s: float
    found: bool
    left_out: tuple[str, ...]


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
    found, blocks = _mended(samples, programme, zeroed)
    passes, assignment, plain = found.passes, found.assignment, found.plain
    harm, cells = _harm(passes, programme, blocks, step)
    late_s, std_s, order_doubtful = lateness(passes, plain, programme, assignment, harm)
    starts_s = np.array([programme.starts_s[used.index] for used in passes])
    sides = "".join(used.side for used in passes)
    rate_hz = programme.sample_rate_hz
    inside = any(block.kind != "zeroed" for block in blocks)
    after = _doubtful_after(passes, blocks)
    times = (starts_s, late_s, std_s, sides)
    clock = fit_clock(*times, sample_rate_hz=rate_hz, jump_after=after, mended=inside)
    offsets_s = np.array([used.first for used in passes]) / rate_hz - assignment.origin_s
    offsets_s -= _expected_s(clock, starts_s, late_s, sides)
    return Aligned(
        passes=passes,
        assignment=assignment,
        clock=clock,
        # Lost blocks move all passes alike; the arrivals stay near zero.
        offsets_s=offsets_s - float(np.median(offsets_s)) - LEAD_S,
        harm=without_tops(harm, passes, clock, plain, programme.sweep.stop_hz),
        cells=cells,
        blocks=blocks,
        foreign=found.foreign,
        n_strays=found.n_strays,
        order_doubtful=order_doubtful,
        n_fft=plain.n_fft,
    )


def _mended(
    samples: Float, programme: Programme, zeroed: tuple[Block, ...]
) -> tuple[FoundPasses, tuple[Block, ...]]:
    """Find the passes, and mend the time line block by block."""
    blocks = list(zeroed)
    while True:
        found = find_passes(samples, programme)
        if len(blocks) >= MAX_BLOCKS:
            break
        block = lost_inside(found.passes, found.plain, programme)
        if block is None:
            break
        samples = mend(samples, block)
        blocks = [_moved(earlier, block) for earlier in blocks] + [block]
    return found, tuple(blocks)


def _doubtful_after(passes: tuple[UsedPass, ...], blocks: tuple[Block, ...]) -> int | None:
    """Return the pass after which a block leaves the time line out by some samples."""
    for block in blocks:
        for at, used in enumerate(passes):
            if block.doubtful and used.first <= block.at < used.first + used.samples.size:
                return at - 1 if block.doubtful == "before" else at
    return None


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


def pass_reports(aligned: Aligned, programme: Programme) -> tuple[PassReport, ...]:
    """Say what was used of each pass.

    Parameters
    ----------
    aligned : Aligned
    programme : Programme

    Returns
    -------
    tuple of PassReport
    """
    reports = []
    for at, used in enumerate(aligned.passes):
        left_out = [
            f"foreign sound at {begin:.2f}-{end:.2f} s of its sweep"
            for begin, end in aligned.harm.foreign_s[at]
        ]
        left_out += [
            f"{block.n_samples} samples {block.kind} at {block.at / programme.sample_rate_hz:.3f} s"
            for block in aligned.blocks
            if used.first <= block.at < used.first + used.samples.size
        ]
        if used.present.start > LEAD_S * programme.sample_rate_hz:
            left_out.append("its beginning wasn't recorded")
        if used.present.stop < round(
            (LEAD_S + programme.sweep.duration_s) * programme.sample_rate_hz
        ):
            left_out.append("its end wasn't recorded")
        elif used.present.stop < used.samples.size:
            left_out.append("the end of its decay wasn't recorded")
        reports.append(
            PassReport(
                number=used.index + 1,
                side="left" if used.side == "L" else "right",
                start_s=used.first / programme.sample_rate_hz + LEAD_S,
                found=used.found,
                left_out=tuple(left_out),
            )
        )
    return tuple(reports)
