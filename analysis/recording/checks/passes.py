"""Checks of the passes: played, heard whole, undisturbed, and on one clock.

Conventions: passes are numbered from 1, times in seconds of the recording, or of a pass's
sweep where that is said.
"""

from __future__ import annotations

import numpy as np

from analysis.recording.alignment import AlignedPasses
from analysis.recording.checks.check import Check
from analysis.recording.responses import SideResponse
from analysis.signals.deconvolution import LEAD_S
from analysis.signals.programme import Programme

Sides = tuple[SideResponse | None, SideResponse | None]

SILENT_DB = 30.0
"""A side this far below the other is not playing: common practice, no source."""

CLOCK_PPM = 250.0
"""Two crystals of the poorest class sold, 100 ppm each, and some margin; more points to a
resampler somewhere."""

NO_CLOCK_PPM = 1000.0
"""No clock is so far out: the sweep was played at another speed, or is another."""

WANDER_M = 1e-3
"""A clock that wanders is worth a warning where it leaves more in the arrival than a microphone
that is put back does."""

MOST_LISTED = 4


def _side_word(side: str) -> str:
    """Return a side's word."""
    return "left" if side == "L" else "right"


def _join_first(items: list[str], separator: str) -> str:
    """Return the first items of a list, and how many more there are."""
    more = len(items) - MOST_LISTED
    kept = separator.join(items[:MOST_LISTED])
    return kept if more <= 0 else f"{kept}{separator}and {more} more"


def check_dropout(aligned: AlignedPasses, sides: Sides, sample_rate_hz: float) -> Check:
    """Judge lost, repeated and zeroed blocks."""
    seen = [
        f"{'about ' if block.doubtful else ''}{block.n_samples} samples {block.kind} at "
        f"{block.at / sample_rate_hz:.3f} s"
        for block in aligned.blocks
    ]
    clock = aligned.clock
    advice = "close other programs, use a larger buffer, and record again"
    if not clock.jump_located:
        seen.append("samples were lost or repeated in a pause, and it can't be told in which")
        detail = f"{_join_first(seen, '; ')}: the arrival is withheld; {advice}"
        return Check(name="dropout", verdict="fail", detail=detail)
    if aligned.repeats.kind == "unclear" or (
        aligned.repeats.kind == "lost" and clock.jump_after is None
    ):
        return _explain_unplaced_loss(aligned, advice)
    if clock.jump_after is not None and not any(block.doubtful for block in aligned.blocks):
        after = aligned.passes[clock.jump_after]
        at_s = (after.first + after.samples.size) / sample_rate_hz
        kind = "missing" if clock.jump_s < 0 else "repeated"
        n_samples = round(abs(clock.jump_s) * sample_rate_hz)
        samples = f"{n_samples} sample{'' if n_samples == 1 else 's'}"
        seen.append(f"{samples} {kind} in the pause near {at_s:.1f} s")
    if not seen:
        return Check(name="dropout", verdict="pass", detail="no missing or repeated block")
    gaps = _list_gaps(aligned, sides, "dropout")
    if gaps:
        detail = f"{_join_first(seen, '; ')}: no clean data for {_join_first(gaps, ', ')}; {advice}"
        return Check(name="dropout", verdict="fail", detail=detail)
    return Check(
        name="dropout",
        verdict="warn",
        detail=f"{_join_first(seen, '; ')}: left out or mended; close other programs before the "
        "next recording",
    )


def waive_timing_checks(checks: list[Check], aligned: AlignedPasses) -> list[Check]:
    """Return the checks of a sweep by which nothing can be timed, those of timing not judged.

    Its passes are placed too coarsely to tell lost samples from none, and with the arrival
    withheld nothing rests on it. What was lost inside a pass stays said.
    """
    waived = {"clock"} if aligned.blocks else {"clock", "dropout"}
    detail = "not judged: nothing can be timed by this sweep"
    return [
        Check(name=check.name, verdict="pass", detail=detail) if check.name in waived else check
        for check in checks
    ]


def _explain_unplaced_loss(aligned: AlignedPasses, advice: str) -> Check:
    """Say that some samples were lost between passes, or perhaps, and what follows."""
    repeats = aligned.repeats
    n_lost = abs(repeats.n_lost)
    lost = f"{n_lost} sample{'s' if n_lost > 1 else ''}"
    if repeats.kind == "lost":
        seen = f"{lost} lost or repeated in a pause, and it can't be told in which"
    else:
        seen = f"{lost} lost or repeated in a pause, or the clock wandered: it can't be told which"
    if repeats.is_too_uncertain:
        detail = f"{seen}; the arrival is withheld; {advice}"
        return Check(name="dropout", verdict="fail", detail=detail)
    carried = f"the arrival carries ± {repeats.arrival_std_m * 1e3:.1f} mm for it"
    return Check(name="dropout", verdict="warn", detail=f"{seen}; {carried}; {advice}")


def _list_gaps(aligned: AlignedPasses, sides: Sides, cause: str) -> list[str]:
    """List the bands without clean data of the sides where `cause` names the reason."""
    gaps = []
    for name, letter, side in zip(("left", "right"), "LR", sides, strict=True):
        if side is None or _gap_cause(aligned, letter) != cause:
            continue
        gaps += [f"{low:.0f}-{high:.0f} Hz of the {name}" for low, high in side.response.gaps_hz]
    return gaps


def _gap_cause(aligned: AlignedPasses, letter: str) -> str:
    """Return the name of the check that answers for a side's gaps."""
    passes = [
        (at, extracted) for at, extracted in enumerate(aligned.passes) if extracted.side == letter
    ]
    if any(aligned.disturbance.foreign_sound_s[at] for at, _ in passes):
        return "spoilt_pass"
    # The cut's tail may lie past the recording's end without harm.
    if any(aligned.disturbance.cut[at] for at, _ in passes):
        return "cut_short"
    lost = aligned.blocks or aligned.clock.jump_after is not None
    return "dropout" if lost else "spoilt_pass"


def check_silent(sides: Sides, programme: Programme) -> Check:
    """Judge whether both loudspeakers played."""
    names = ("left", "right")
    absent = [
        name
        for name, letter, side in zip(names, "LR", sides, strict=True)
        if side is None and letter in programme.order
    ]
    if absent:
        return Check(
            name="silent_channel",
            verdict="fail",
            detail=f"the {' and '.join(absent)} loudspeaker was not heard: check its cable, the "
            "balance control and the channel",
        )
    energy_db = [
        10 * np.log10(float((side.response.samples**2).sum()) + 1e-30)
        for side in sides
        if side is not None
    ]
    if len(energy_db) == 2 and abs(energy_db[0] - energy_db[1]) > SILENT_DB:
        quieter = names[int(np.argmin(energy_db))]
        return Check(
            name="silent_channel",
            verdict="fail",
            detail=f"the {quieter} loudspeaker is {abs(energy_db[0] - energy_db[1]):.0f} dB below "
            "the other: it may be silent, and what was heard crosstalk",
        )
    return Check(name="silent_channel", verdict="pass", detail="both loudspeakers were heard")


def check_disturbance(
    aligned: AlignedPasses, sides: Sides, programme: Programme, n_samples: int
) -> Check:
    """Judge foreign sounds in the passes, and passes that sound drowned.

    Parameters
    ----------
    n_samples : int
        Length of the recording at the programme's sampling frequency.
    """
    seen = []
    for at, extracted in enumerate(aligned.passes):
        foreign_sound_s = aligned.disturbance.foreign_sound_s[at]
        if foreign_sound_s:
            joined = _merge_stretches(foreign_sound_s)
            when = _join_first([f"{begin:.1f}-{end:.1f} s" for begin, end in joined], ", ")
            seen.append(
                f"{_side_word(extracted.side)} pass {extracted.index + 1} at {when} of its sweep"
            )
    gaps = _list_gaps(aligned, sides, "spoilt_pass")
    lost = _missing_passes(aligned, programme, n_samples)
    if not (seen or gaps or lost):
        return Check(name="spoilt_pass", verdict="pass", detail="no foreign sound in the passes")
    parts = [f"foreign sound in {_join_first(seen, '; ')}"] if seen else []
    parts += [f"pass {', '.join(map(str, lost))} wasn't heard"] if lost else []
    heard = "; ".join(parts) or "part of a pass isn't there"
    if gaps:
        detail = f"{heard}: no clean data for {_join_first(gaps, ', ')}; record again in quiet"
        return Check(name="spoilt_pass", verdict="fail", detail=detail)
    return Check(
        name="spoilt_pass",
        verdict="warn",
        detail=f"{heard}: that stretch was left out, the other pass serves there",
    )


def _merge_stretches(stretches_s: tuple[tuple[float, float], ...]) -> list[tuple[float, float]]:
    """Return stretches in tenths of a second, with those that touch made one."""
    joined: list[tuple[float, float]] = []
    for begin_s, end_s in ((round(begin, 1), round(end, 1)) for begin, end in stretches_s):
        if joined and begin_s <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end_s))
        else:
            joined.append((begin_s, end_s))
    return joined


def _missing_passes(aligned: AlignedPasses, programme: Programme, n_samples: int) -> list[int]:
    """Return the numbers of passes that should have been heard beside their side's others."""
    there = {extracted.index for extracted in aligned.passes}
    sides = {extracted.side for extracted in aligned.passes}
    outside = _passes_outside(aligned, programme, n_samples)
    return [
        index + 1
        for index, side in enumerate(programme.order)
        if index not in there and side in sides and index + 1 not in outside
    ]


def check_clock(aligned: AlignedPasses, programme: Programme) -> Check:
    """Judge the clock difference."""
    clock = aligned.clock
    if not clock.measured:
        return Check(name="clock", verdict="fail", detail=_explain_unmeasured(aligned, programme))
    text = f"recorder {clock.drift_ppm:+.2f} ± {clock.std_ppm:.2f} ppm against the player"
    if abs(clock.drift_ppm) > NO_CLOCK_PPM:
        detail = f"{text}, more than any two clocks differ by: was it played at another speed?"
        return Check(name="clock", verdict="fail", detail=f"{detail} The arrival is withheld")
    if abs(clock.drift_ppm) > CLOCK_PPM:
        return Check(
            name="clock",
            verdict="warn",
            detail=f"{text}: more than two crystals differ by, a sample-rate converter may be in "
            "the way; it was taken out",
        )
    if aligned.repeats.kind == "wander":
        return _explain_wander(aligned, text)
    return Check(name="clock", verdict="pass", detail=f"{text}; taken out")


def _explain_wander(aligned: AlignedPasses, text: str) -> Check:
    """Say by how much the clock's rate changed, and what follows."""
    repeats = aligned.repeats
    text += f", but not steady: its rate changed by {repeats.ramp_ppm:.2f} ppm between passes"
    if repeats.is_too_uncertain:
        detail = f"{text}: the arrival is withheld; let the devices warm up, and record again"
        return Check(name="clock", verdict="fail", detail=detail)
    detail = f"{text}: the arrival carries ± {repeats.arrival_std_m * 1e3:.1f} mm for it"
    verdict = "warn" if repeats.arrival_std_m > WANDER_M else "pass"
    return Check(name="clock", verdict=verdict, detail=detail)


def _explain_unmeasured(aligned: AlignedPasses, programme: Programme) -> str:
    """Say why the clock difference isn't known, and what follows."""
    if not aligned.clock.jump_located:
        return "samples were lost in a pause, so the clock difference can't be told"
    follows = "the clock difference, so the arrival carries ±100 ppm over the time between left"
    follows += " and right"
    if max(programme.order.count(letter) for letter in "LR") < 2:
        return f"the programme has no repeat to tell {follows}; make a sweep with order LRRL"
    return f"no repeat was left to tell {follows}; record the whole programme"


def check_sweep(aligned: AlignedPasses, programme: Programme) -> Check:
    """Judge whether it is this programme that was heard."""
    question = "is this the recording of that sheet?"
    if aligned.n_unexpected and len(aligned.passes) < len(programme.order):
        return Check(
            name="wrong_sweep",
            verdict="fail",
            detail=f"{aligned.n_unexpected} passes of this sweep were heard where the programme "
            f"has none: {question}",
        )
    if aligned.order_doubtful:
        return Check(
            name="wrong_sweep",
            verdict="fail",
            detail="passes that should be one loudspeaker's are less alike than left and right: "
            f"another order was played, or the microphone was moved; {question}",
        )
    if aligned.other_sweep:
        return Check(
            name="wrong_sweep",
            verdict="warn",
            detail=f"another sweep than this programme's was heard as well: {question}",
        )
    return Check(name="wrong_sweep", verdict="pass", detail="the sweep is the sheet's")


def check_cut_short(
    aligned: AlignedPasses, sides: Sides, programme: Programme, n_samples: int
) -> Check:
    """Judge whether the whole programme was recorded.

    Parameters
    ----------
    n_samples : int
        Length of the recording at the programme's sampling frequency.
    """
    advice = "start recording before the programme and stop after it"
    if not aligned.assignment.sides_certain:
        return Check(
            name="cut_short",
            verdict="fail",
            detail="too few passes were recorded to tell which loudspeaker they belong to: "
            + advice,
        )
    cut = [
        extracted.index + 1
        for at, extracted in enumerate(aligned.passes)
        if aligned.disturbance.cut[at]
    ]
    absent = _passes_outside(aligned, programme, n_samples)
    if not cut and not absent:
        return Check(name="cut_short", verdict="pass", detail="all passes were recorded whole")
    parts = [f"pass {', '.join(map(str, absent))} missing"] if absent else []
    parts += [f"pass {', '.join(map(str, cut))} cut off"] if cut else []
    gaps = _list_gaps(aligned, sides, "cut_short")
    text = " and ".join(parts)
    if gaps:
        text += f", no data for {_join_first(gaps, ', ')}"
    verdict = "fail" if gaps else "warn"
    return Check(name="cut_short", verdict=verdict, detail=f"{text}: {advice}")


def _passes_outside(aligned: AlignedPasses, programme: Programme, n_samples: int) -> list[int]:
    """Return the numbers of the passes that lie, by their place, outside the recording."""
    there = {extracted.index for extracted in aligned.passes}
    rate_hz = programme.sample_rate_hz
    outside = []
    for index, start_s in enumerate(programme.starts_s):
        begin_s = aligned.assignment.origin_s + start_s
        end_s = begin_s + programme.sweep.duration_s
        inside = begin_s > -LEAD_S and end_s < n_samples / rate_hz + LEAD_S
        if index not in there and not inside:
            outside.append(index + 1)
    return outside
