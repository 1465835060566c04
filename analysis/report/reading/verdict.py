"""The verdict on a reading: what to do first, then what was found, in few plain lines.

Conventions: left minus right, positive where left is farther or louder; ``±`` is one
standard deviation, and a difference counts where it exceeds two. Verdicts on the arrival use
the uncertainty with draughts and the microphone's place in it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

from analysis.basics.uncertainty import COVERAGE_FACTOR
from analysis.bass.bass import Bass, BassSide
from analysis.pair.arrival import ArrivalMatch
from analysis.pair.level import LevelMatch
from analysis.pair.polarity import PolarityMatch
from analysis.reading import Reading
from analysis.report import format as fmt
from analysis.report.bass import causes_text, feature_text, move_text
from analysis.report.reading.checks import (
    failed_because,
    say_asked,
    say_failed,
    say_geometry,
    say_nothing_to_do,
    say_warnings,
)
from analysis.report.reading.verdict_part import LIFTING, VerdictPart

TOLERANCE_M: Final = 2e-3
"""Arrivals closer than this need no move: 6 microseconds. Common practice, no source."""

ASSUMED_HALF_ANGLE_DEG: Final = 30.0
"""Half the angle between the loudspeakers, where no room file tells it: the usual
equilateral triangle. Common practice, no source."""

LEVEL_TOLERANCE_DB: Final = 0.5
"""Loudspeakers closer in level than this need no balance. Common practice, no source."""


_ANOTHER_SWEEP: Final = (
    "Make a sweep that ends at 8 kHz or higher and record again: this one can't tell the arrival, "
    "so neither which loudspeaker to move nor how they match."
)

_OTHER: Final = {"left": "right", "right": "left"}


@dataclass(frozen=True, kw_only=True, slots=True)
class Verdict:
    """What to do and what was found.

    Attributes
    ----------
    actions : tuple of str
        What to do, the first thing first; never empty.
    findings : tuple of str
        What they rest on: arrival, level, polarity, bass.
    cautions : tuple of str
        What speaks against trusting it, failed checks and warnings; then what to mind in doing
        it.
    """

    actions: tuple[str, ...]
    findings: tuple[str, ...]
    cautions: tuple[str, ...]

    def lines(self) -> list[str]:
        """Return it laid out in at most 78 columns: actions, findings, cautions.

        What fits whole behind the text before it, on its last line, stands there.
        """
        numbered = len(self.actions) > 1
        lines = []
        for number, text in enumerate(self.actions, start=1):
            lines += fmt.wrapped(f"{number}. {text}" if numbered else text, hanging=3 * numbered)
        first = len(lines)
        for text in (*self.findings, *self.cautions):
            if len(lines) > first and len(lines[-1]) + 1 + len(text) <= fmt.WIDTH:
                lines[-1] += f" {text}"
            else:
                lines += fmt.wrapped(text, indent=2, hanging=2)
        return lines


def verdict(
    reading: Reading,
    *,
    half_angle_deg: float | None = None,
    tolerance_m: float = TOLERANCE_M,
) -> Verdict:
    """Return the verdict on a reading.

    Parameters
    ----------
    half_angle_deg : float, optional
        Half the angle between the loudspeakers as seen from the seat, above 0 and below 90.
        Not given, that of the room file, else ``ASSUMED_HALF_ANGLE_DEG``, and said so.
    tolerance_m : float
        Arrivals closer than this count as equal, in metres, above 0.

    Raises
    ------
    ValueError
        If the angle or the tolerance lies outside.
    """
    if half_angle_deg is None and reading.prediction is not None:
        half_angle_deg = reading.prediction.positions.half_angle_deg
    said = [
        say_polarity(reading.polarity),
        say_arrival(
            reading.arrival,
            half_angle_deg=half_angle_deg,
            tolerance_m=tolerance_m,
            reason=failed_because(reading.checks),
        ),
        say_level(reading.level),
        say_bass(reading.bass, room_known=reading.prediction is not None),
    ]
    failed, asked = say_failed(reading.checks), say_asked(reading.checks)
    names = {check.name for check in reading.checks if check.verdict == "fail"}
    if reading.arrival is not None and reading.arrival.is_too_narrow and names == {"noise"}:
        failed = replace(failed, action=_ANOTHER_SWEEP)
    polarity, arrival, level, bass = said
    if reading.contradicted_by_tape:
        arrival, level = _without_sides(reading, arrival, level)
    known = reading.arrival is not None and reading.arrival.difference_m is not None
    actions = [
        failed.action,
        asked.action,
        polarity.action,
        say_geometry(reading.checks) if known and not reading.contradicted_by_tape else None,
        # With nothing measured, to mend the recording is all there is to do.
        arrival.action if known or not (failed.action or asked.action) else None,
        level.action,
    ]
    return Verdict(
        actions=tuple(text for text in actions if text) or (say_nothing_to_do(reading.checks),),
        findings=(*arrival.findings, *level.findings, *polarity.findings, *bass.findings),
        cautions=(
            *failed.findings,
            *asked.findings,
            *say_warnings(reading.checks),
            *([arrival.caution] if arrival.caution else []),
        ),
    )


def _without_sides(
    reading: Reading, arrival: VerdictPart, level: VerdictPart
) -> tuple[VerdictPart, VerdictPart]:
    """Return the arrival's and the level's part where it isn't sure which side played left."""
    difference_m = reading.arrival.difference_m if reading.arrival is not None else None
    by_sound, by_tape = ("left", "right") if (difference_m or 0.0) > 0 else ("right", "left")
    action = (
        f"Move nothing: by sound the {by_sound} loudspeaker is farther, by the room file the "
        f"{by_tape} one. Play the left channel alone and see which loudspeaker sounds. If it is "
        "the right one, left and right are exchanged: switch the amplifier off, put that right "
        "and record again. If it is the left one, write the new places into the room file."
    )
    return replace(arrival, action=action, caution=None), replace(level, action=None)


def say_arrival(
    arrival: ArrivalMatch | None,
    *,
    half_angle_deg: float | None = None,
    tolerance_m: float = TOLERANCE_M,
    reason: str | None = None,
) -> VerdictPart:
    """Return which loudspeaker is farther, and the move.

    Parameters
    ----------
    half_angle_deg : float, optional
        ``ASSUMED_HALF_ANGLE_DEG`` if not given.
    reason : str, optional
        Why there is no arrival, where `arrival` is None.

    Raises
    ------
    ValueError
        If the angle or the tolerance lies outside.
    """
    angle_deg = ASSUMED_HALF_ANGLE_DEG if half_angle_deg is None else half_angle_deg
    if not 0 < angle_deg < 90:
        msg = f"half_angle_deg {angle_deg} must lie between 0 and 90"
        raise ValueError(msg)
    if not 0 < tolerance_m < math.inf:
        msg = f"tolerance_m {tolerance_m} must be greater than zero"
        raise ValueError(msg)
    if arrival is None or arrival.difference_m is None or arrival.in_room_std_m is None:
        why = (arrival.withheld if arrival is not None else reason) or "it couldn't be measured"
        return VerdictPart(
            action="Measure again: there is no arrival difference to act on.",
            findings=(f"Arrival withheld: {why}.",),
        )
    difference_m, std_m = arrival.difference_m, arrival.in_room_std_m
    said = _say_undecided(difference_m, std_m, tolerance_m)
    if abs(difference_m) <= tolerance_m:
        if std_m <= tolerance_m:
            said = _say_equal(difference_m, std_m, tolerance_m)
    elif abs(difference_m) > COVERAGE_FACTOR * std_m:
        said = _say_farther(difference_m, std_m, angle_deg, assumed=half_angle_deg is None)
    doubt = () if arrival.agree else (_disagreement_text(arrival),)
    return replace(said, findings=said.findings + doubt)


def _say_equal(difference_m: float, std_m: float, tolerance_m: float) -> VerdictPart:
    """Return that nothing needs to move."""
    text = (
        f"Arrival: equal within {fmt.number(tolerance_m * 1e3, places=1)} mm (left minus "
        f"right {fmt.mm(difference_m, std_m, sign=True)})."
    )
    return VerdictPart(findings=(text,))


def _say_farther(
    difference_m: float, std_m: float, angle_deg: float, *, assumed: bool
) -> VerdictPart:
    """Return which loudspeaker is farther, what else it may mean, and the move."""
    farther = "left" if difference_m > 0 else "right"
    return VerdictPart(
        action=_move_action(difference_m, std_m, angle_deg, assumed=assumed),
        findings=(
            f"Arrival: the {farther} loudspeaker is {fmt.mm(abs(difference_m), std_m)} farther, or "
            f"the microphone stands {_off_line_text(difference_m, angle_deg)} {_OTHER[farther]} of "
            "the middle line: one microphone can't tell which.",
        ),
        caution=LIFTING,
    )


def _move_action(difference_m: float, std_m: float, angle_deg: float, *, assumed: bool) -> str:
    """Return the move that makes the arrivals equal, once the microphone's place is sure."""
    nearer = "right" if difference_m > 0 else "left"
    longer = 1 / math.cos(math.radians(angle_deg))
    along, back = (fmt.mm(abs(difference_m) * k, std_m * k) for k in (1.0, longer))
    angle = f"a half-angle of {fmt.number(angle_deg, places=0)}°"
    return (
        "Check first that the microphone stands on the middle line. "
        f"Move the {nearer} loudspeaker {along} away from the seat, along the line between them; "
        f"straight back that is {back} ({angle}{', assumed' if assumed else ''}). "
        "Then measure again."
    )


def _off_line_text(difference_m: float, angle_deg: float) -> str:
    """Return how far off the middle line the microphone would have to stand."""
    off_m = abs(difference_m) / (2 * math.sin(math.radians(angle_deg)))
    return f"{fmt.number(off_m * 1e3, places=1)} mm"


def _say_undecided(difference_m: float, std_m: float, tolerance_m: float) -> VerdictPart:
    """Return the wording where the uncertainty is too large."""
    tolerance = fmt.number(tolerance_m * 1e3, places=1)
    return VerdictPart(
        action="Measure again before moving anything: the arrival isn't decided.",
        findings=(
            f"Arrival: undecided. Left minus right is {fmt.mm(difference_m, std_m, sign=True)}, "
            f"and the tolerance {tolerance} mm: the uncertainty is too large to say more.",
        ),
    )


def _disagreement_text(arrival: ArrivalMatch) -> str:
    """Return that the second method says something else."""
    if arrival.check_difference_s is None or not arrival.difference_s:
        return "A second method doesn't confirm the arrival: measure again before moving."
    check_m = arrival.check_difference_s / arrival.difference_s * (arrival.difference_m or 0.0)
    return (
        f"A second method says {fmt.mm(check_m, sign=True)}, farther off than it should be: "
        "measure again before moving."
    )


def say_level(level: LevelMatch | None) -> VerdictPart:
    """Return which loudspeaker is louder and by how much."""
    if level is None:
        return VerdictPart(findings=("Level: not known, see the checks.",))
    direct, seat = level.direct, level.seat
    parts = []
    if direct.left_minus_right_db is not None and direct.band_hz is not None:
        said = _louder_text(direct.left_minus_right_db, direct.std_db)
        parts.append(f"{said} in the direct sound, {fmt.band(direct.band_hz)}")
    if seat.left_minus_right_db is not None:
        std_db = math.hypot(seat.std_db or 0.0, level.seat_point_std_db or 0.0)
        parts.append(f"{_louder_text(seat.left_minus_right_db, std_db)} with the room")
    if not parts:
        return VerdictPart(findings=(f"Level: withheld: {direct.reason or seat.reason}.",))
    return VerdictPart(action=_balance_action(level), findings=(f"Level: {'; '.join(parts)}.",))


def _louder_text(difference_db: float, std_db: float | None) -> str:
    """Return which side is louder, by how much."""
    size = fmt.db(abs(difference_db), std_db)
    if size.startswith("0.0 "):
        return "alike"
    return f"{'left' if difference_db > 0 else 'right'} {size} louder"


def _balance_action(level: LevelMatch) -> str | None:
    """Return what to do about the level, if it is out beyond doubt and tolerance."""
    difference_db, std_db = level.direct.left_minus_right_db, level.direct.std_db
    if difference_db is None or abs(difference_db) <= LEVEL_TOLERANCE_DB:
        return None
    if abs(difference_db) <= COVERAGE_FACTOR * (std_db or 0.0):
        return None
    louder = "left" if difference_db > 0 else "right"
    return (
        f"Turn the {louder} loudspeaker down by {fmt.db(abs(difference_db), std_db)} "
        f"(balance towards the {_OTHER[louder]}), once both point at the seat alike."
    )


def say_polarity(polarity: PolarityMatch | None) -> VerdictPart:
    """Return whether the pair is wired alike, and the safe way to mend it."""
    if polarity is None:
        return VerdictPart()
    if polarity.matched is False:
        return VerdictPart(
            action="Switch the amplifier off and touch no terminal before that. Then swap the two "
            "wires, plus and minus, at ONE loudspeaker, and measure again with the volume low.",
            findings=("Polarity: swapped. One loudspeaker moves in while the other moves out.",),
        )
    if polarity.matched is None:
        why = "; ".join(polarity.reasons) or "the two responses are too unlike"
        return VerdictPart(
            findings=(f"Polarity: undecided ({why}). Check plus and minus at both by eye.",)
        )
    if polarity.left == -1 and polarity.right == -1:
        return VerdictPart(
            findings=(
                "Polarity: alike, and both inverted (or the microphone's input inverts): "
                "harmless for the pair.",
            )
        )
    return VerdictPart(findings=("Polarity: alike.",))


def say_bass(bass: Bass, *, room_known: bool = True) -> VerdictPart:
    """Return the bass in three bands and the worst features with their causes.

    Parameters
    ----------
    room_known : bool
        Whether there was a room file; without one no cause is claimed or denied.
    """
    named = dict(bass.sides)
    name = "both" if "both" in named else next(iter(named), None)
    if name is None:
        return VerdictPart()
    side = named[name]
    whose = "" if name == "both" else f", {name} loudspeaker alone"
    findings = [f"Bass against 200 to 1000 Hz{whose}: {_band_levels_text(side)}."]
    for one in side.worst[:2]:
        what = feature_text(one)
        what = f"{what[0].upper()}{what[1:]}"
        if not room_known:
            findings.append(f"{what}.")
            continue
        move = move_text(one.causes[0])
        tail = f"; {move}." if move else "."
        findings.append(f"{what}: {causes_text(one)}{tail}")
    if side.worst and not room_known:
        findings.append("Their causes need a room file (--room); `apexline starter` writes one.")
    return VerdictPart(findings=tuple(findings))


def _band_levels_text(side: BassSide) -> str:
    """Return the level of the three bands."""
    parts = []
    for band in side.balance:
        said = "not known" if band.level_db is None else f"{fmt.db(band.level_db, sign=True)}"
        parts.append(f"{fmt.band(band.band_hz)} {said}")
    return ", ".join(parts)
