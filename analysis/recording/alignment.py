"""The recording's passes with their time line repaired and the clock known.

Conventions: as in `analysis.recording.extraction` and `analysis.recording.clock`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.basics.arrays import Float
from analysis.recording.clock import Clock, fit_clock
from analysis.recording.disturbance.detection import Disturbance, find_disturbance
from analysis.recording.disturbance.spectrogram import Spectrogram, band_spectrogram
from analysis.recording.dropouts.block import DropoutBlock, repair_block
from analysis.recording.dropouts.block_in_pass import find_block
from analysis.recording.dropouts.sweep_end import exclude_sweep_ends
from analysis.recording.extraction import ExtractedPass, ExtractedPasses, extract_passes
from analysis.recording.passes import PassAssignment
from analysis.recording.repeats.judgement import (
    RepeatJudgement,
    compare_repeats,
    judge_clock,
    judge_move,
)
from analysis.recording.repeats.pass_times import PassTimes, pass_delays
from analysis.signals.deconvolution import LEAD_S
from analysis.signals.programme import Programme

MAX_BLOCKS = 4


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class AlignedPasses:
    """All passes of a recording with a common time line.

    Attributes
    ----------
    repeats : RepeatJudgement
        What became of clock and microphone between the passes.
    offsets_s : ndarray, shape (n_passes,)
        Common time of each cut's first sample, with the drift taken out.
    disturbance : Disturbance
        Which band of which pass is disturbed.
    spectrogram : Spectrogram
        What `disturbance` was judged by.
    blocks : tuple of DropoutBlock
        Lost and repeated blocks that were repaired, and zeroed ones.
    other_sweep : bool
        Whether another sweep was heard as well.
    n_unexpected : int
        How many passes of this sweep were heard where the programme has none.
    order_doubtful : bool
        Whether passes of one side are less alike than left and right.
    """

    passes: tuple[ExtractedPass, ...]
    assignment: PassAssignment
    clock: Clock
    repeats: RepeatJudgement
    offsets_s: Float
    disturbance: Disturbance
    spectrogram: Spectrogram
    blocks: tuple[DropoutBlock, ...]
    other_sweep: bool
    n_unexpected: int
    order_doubtful: bool
    n_fft: int


@dataclass(frozen=True, kw_only=True, slots=True)
class PassSummary:
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


def align_passes(
    samples: Float,
    programme: Programme,
    *,
    zeroed: tuple[DropoutBlock, ...] = (),
    rounding_step: float = 0.0,
    recorded_hz: float | None = None,
) -> AlignedPasses:
    """Find the passes, repair the time line, and estimate the clock difference.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        One channel at the programme's sampling frequency.
    zeroed : tuple of DropoutBlock
        Blocks known to hold no sound, in the same samples.
    rounding_step : float
        To which the samples were rounded, of full scale.
    recorded_hz : float, optional
        The recorder's sampling frequency, if not the programme's: what it loses are its samples.

    Raises
    ------
    NoPassError
        If no pass was found.
    """
    found, blocks = _repair_dropouts(samples, programme, zeroed)
    passes, assignment, nominal_inverse = found.passes, found.assignment, found.nominal_inverse
    disturbance, spectrogram = _find_disturbance(passes, programme, blocks, rounding_step)
    timed = pass_delays(passes, nominal_inverse, programme, assignment, disturbance)
    clock, expected_s, repeats = _fit_time_line(
        passes, timed, programme, disturbance, blocks, recorded_hz or programme.sample_rate_hz
    )
    first_s = np.array([extracted.first for extracted in passes]) / programme.sample_rate_hz
    offsets_s = first_s - assignment.origin_s - expected_s
    return AlignedPasses(
        passes=passes,
        assignment=assignment,
        clock=clock,
        repeats=repeats,
        # Lost blocks move all passes alike; the arrivals stay near zero.
        offsets_s=offsets_s - float(np.median(offsets_s)) - LEAD_S,
        disturbance=exclude_sweep_ends(
            disturbance, passes, clock, nominal_inverse, programme.sweep.stop_hz
        ),
        spectrogram=spectrogram,
        blocks=blocks,
        other_sweep=found.other_sweep,
        n_unexpected=found.n_unexpected,
        order_doubtful=timed.order_doubtful,
        n_fft=nominal_inverse.n_fft,
    )


def _fit_time_line(
    passes: tuple[ExtractedPass, ...],
    timed: PassTimes,
    programme: Programme,
    disturbance: Disturbance,
    blocks: tuple[DropoutBlock, ...],
    recorded_hz: float,
) -> tuple[Clock, Float, RepeatJudgement]:
    """Return the clock, when each pass should have come, and what the repeats tell."""
    starts_s = np.array([programme.starts_s[extracted.index] for extracted in passes])
    sides = "".join(extracted.side for extracted in passes)
    inside = any(block.kind != "zeroed" for block in blocks)
    # A block inside a pass and what it left out move parts of passes: then nothing is asked.
    ratios = {} if inside else compare_repeats(passes, timed, programme, disturbance)
    move = judge_move(ratios, starts_s, sides)
    clock = fit_clock(
        starts_s,
        timed.late_s,
        timed.std_s,
        sides,
        sample_rate_hz=programme.sample_rate_hz,
        jump_after=_last_pass_before_doubt(passes, blocks),
        repaired=inside,
        may_jump=move is None,
    )
    judgement, clock, late_s = judge_clock(
        ratios, starts_s, sides, clock, sample_s=1 / recorded_hz, move=move
    )
    if late_s is not None:
        return clock, starts_s + late_s, judgement
    return clock, _expected_starts_s(clock, starts_s, timed.late_s, sides), judgement


def _repair_dropouts(
    samples: Float, programme: Programme, zeroed: tuple[DropoutBlock, ...]
) -> tuple[ExtractedPasses, tuple[DropoutBlock, ...]]:
    """Find the passes, and repair the time line block by block."""
    blocks = list(zeroed)
    while True:
        found = extract_passes(samples, programme)
        if len(blocks) >= MAX_BLOCKS:
            break
        block = find_block(found.passes, found.nominal_inverse, programme)
        if block is None:
            break
        samples = repair_block(samples, block)
        blocks = [_shift_block(earlier, block) for earlier in blocks] + [block]
    return found, tuple(blocks)


def _last_pass_before_doubt(
    passes: tuple[ExtractedPass, ...], blocks: tuple[DropoutBlock, ...]
) -> int | None:
    """Return the pass after which a block leaves the time line out by some samples."""
    for block in blocks:
        for at, extracted in enumerate(passes):
            if (
                block.doubtful
                and extracted.first <= block.at < extracted.first + extracted.samples.size
            ):
                return at - 1 if block.doubtful == "before" else at
    return None


def _expected_starts_s(clock: Clock, starts_s: Float, late_s: Float, sides: str) -> Float:
    """Return when each pass should have come after the first sample, in recorder seconds."""
    expected_s = clock.ratio * starts_s
    if clock.jump_located:
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


def _shift_block(earlier: DropoutBlock, block: DropoutBlock) -> DropoutBlock:
    """Return an earlier block at its place after `block` was repaired."""
    if earlier.at < block.at:
        return earlier
    shift = block.n_samples if block.kind == "missing" else -block.n_samples
    return replace(earlier, at=earlier.at + shift)


def _find_disturbance(
    passes: tuple[ExtractedPass, ...],
    programme: Programme,
    blocks: tuple[DropoutBlock, ...],
    rounding_step: float,
) -> tuple[Disturbance, Spectrogram]:
    """Find the disturbed stretches, with what is known to be missing."""
    rate_hz = programme.sample_rate_hz
    sides = "".join(extracted.side for extracted in passes)
    missing = []
    for extracted in passes:
        gaps = []
        if extracted.recorded.start > LEAD_S * rate_hz:
            gaps.append((-LEAD_S, extracted.recorded.start / rate_hz - LEAD_S))
        if extracted.recorded.stop < extracted.samples.size:
            gaps.append(
                (extracted.recorded.stop / rate_hz - LEAD_S, programme.sweep.duration_s + 9.0)
            )
        for block in blocks:
            begin_s = (block.at - extracted.first) / rate_hz - LEAD_S
            width_s = 0.0 if block.kind == "repeated" else block.n_samples / rate_hz
            if -LEAD_S - width_s < begin_s < programme.sweep.duration_s + programme.tail_s:
                gaps.append(_unusable_stretch_s(block, begin_s, begin_s + width_s, programme))
        missing.append(tuple(gaps))
    spectrogram = band_spectrogram(
        [extracted.samples for extracted in passes],
        sample_rate_hz=rate_hz,
        recorded=[extracted.recorded for extracted in passes],
        rounding_step=rounding_step,
    )
    disturbance = find_disturbance(
        spectrogram, programme.sweep, sides, window_s=programme.tail_s, missing_s=tuple(missing)
    )
    return disturbance, spectrogram


def _unusable_stretch_s(
    block: DropoutBlock, begin_s: float, end_s: float, programme: Programme
) -> tuple[float, float]:
    """Return the part of a pass that a block leaves unusable, in seconds from its sweep's start."""
    if block.doubtful == "before":
        return -LEAD_S, end_s
    if block.doubtful == "after":
        return begin_s, programme.sweep.duration_s + programme.tail_s
    return begin_s, end_s


def summarise_passes(aligned: AlignedPasses, programme: Programme) -> tuple[PassSummary, ...]:
    """Say what was used of each pass."""
    reports = []
    for at, extracted in enumerate(aligned.passes):
        left_out = [
            f"foreign sound at {begin:.2f}-{end:.2f} s of its sweep"
            for begin, end in aligned.disturbance.foreign_sound_s[at]
        ]
        left_out += [
            f"{block.n_samples} samples {block.kind} at {block.at / programme.sample_rate_hz:.3f} s"
            for block in aligned.blocks
            if extracted.first <= block.at < extracted.first + extracted.samples.size
        ]
        if extracted.recorded.start > LEAD_S * programme.sample_rate_hz:
            left_out.append("its beginning wasn't recorded")
        if extracted.recorded.stop < round(
            (LEAD_S + programme.sweep.duration_s) * programme.sample_rate_hz
        ):
            left_out.append("its end wasn't recorded")
        elif extracted.recorded.stop < extracted.samples.size:
            left_out.append("the end of its decay wasn't recorded")
        reports.append(
            PassSummary(
                number=extracted.index + 1,
                side="left" if extracted.side == "L" else "right",
                start_s=extracted.first / programme.sample_rate_hz + LEAD_S,
                found=extracted.found,
                left_out=tuple(left_out),
            )
        )
    return tuple(reports)
