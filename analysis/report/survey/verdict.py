"""What a survey says: the verdict, what doesn't fit, the moves, and the figures behind them.

Conventions: left and right as seen from the seat; ``±`` is one standard deviation from the
stated uncertainties of the instruments. Lengths are worded by a function that the caller gives,
so that the person's own unit is used.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Final

from analysis.report import format as fmt
from analysis.report.reading.verdict_part import LIFTING
from analysis.survey.adjustment.blunders import Blunder
from analysis.survey.arrival import ArrivalAgainstSurvey
from analysis.survey.doubt import Doubt
from analysis.survey.moves.moves import Move, ObservationChange
from analysis.survey.moves.target import Criterion
from analysis.survey.result import SurveyResult
from analysis.survey.survey import Observation

Length = Callable[[float], str]
"""Words a length in metres as a tape shows it."""

MOST_OBSERVATIONS: Final = 5
"""Observations listed under a move; all of them are in the JSON."""

_DOUBTS: Final[dict[Doubt, str]] = {
    "unchecked": "the readings contradict each other until too little is left to check the rest. "
    "Read again what is named below, and add readings",
    "names": "the readings put points on another side than their names say. See below, and "
    "correct the file",
    "many": "so many readings don't fit that the figures above can't be relied on. Read again "
    "what is named below",
    "alike": "the others can't tell which of the readings named below is wrong, and the figures "
    "above depend on it. Read these again, each by itself",
}

LEAST_UNEVEN_M: Final = 1e-3
"""Unlike depths of the targets are explained from this size: a tape shows a millimetre."""

CAUTION: Final = f"{LIFTING} Never look into the laser, nor point it at eyes."

_NAMES: Final = {
    "offset": "their distances from the centre line differ",
    "depth": "they stand at different depths",
    "seat": "the head is off the centre line",
    "base_angle": "the angle between them isn't what you asked for",
    "front_wall": "the distance from the front wall isn't what you asked for",
    "toe_in_asked": "the toe-in isn't what you asked for",
}


def millimetres(value_m: float) -> str:
    """Word a length in whole millimetres."""
    return f"{fmt.number(value_m * 1e3, places=0)} mm"


def verdict_lines(result: SurveyResult) -> list[str]:
    """Return the verdict, the first thing first.

    Returns
    -------
    list of str
        Lines of at most ``fmt.WIDTH`` columns.
    """
    failed = [one for one in result.criteria if one.verdict == "fails"]
    unsure = [one for one in result.criteria if one.verdict == "unsure"]
    text = "; ".join([_distance_words(result), _toe_in_words(result)])
    lines = fmt.wrapped(text[:1].upper() + text[1:] + ".")
    others = [_NAMES[one.name] + f" ({_off_text(one)})" for one in failed if one.name in _NAMES]
    if others:
        lines += fmt.wrapped("Also: " + "; ".join(others) + ".")
    if result.passes and not unsure:
        lines += fmt.wrapped("The pair passes: nothing needs to be moved.")
    elif result.passes:
        lines += fmt.wrapped(
            "The pair passes as far as this survey can tell: nothing is certainly off. "
            + " ".join(f"{_unsure_text(one)}." for one in unsure)
            + " Reading the edges once more each would tell better."
        )
    elif result.doubts:
        lines += fmt.wrapped("Move nothing yet: " + _DOUBTS[result.doubts[0]] + ".")
    elif failed and not result.plan.moves:
        lines += fmt.wrapped("What to move can't be said before more readings tell.")
    return lines + _uneven_lines(result)


def _uneven_lines(result: SurveyResult) -> list[str]:
    """Return why the two belong at unlike depths, where they do."""
    goal, triangle = result.plan.goal, result.triangle
    if goal is None or abs(goal.depths_apart_m) < LEAST_UNEVEN_M:
        return []
    farther = "left" if goal.depths_apart_m > 0 else "right"
    higher_m, head_m = triangle.height_m.left_minus_right.value_and_std[0], goal.head_m[0]
    causes = []
    if abs(higher_m) >= LEAST_UNEVEN_M:
        higher = "left" if higher_m > 0 else "right"
        causes.append(f"the {higher} tweeter stands {fmt.mm(abs(higher_m))} higher")
    if abs(head_m) >= LEAST_UNEVEN_M:
        causes.append(f"the head stands {fmt.mm(abs(head_m))} beside the line")
    return fmt.wrapped(
        f"For equal distances the {farther} loudspeaker belongs "
        f"{fmt.mm(abs(goal.depths_apart_m))} farther back than the other: "
        f"{' and '.join(causes) or 'heights and head are not quite even'}."
    )


def _unsure_text(one: Criterion) -> str:
    """Return what is known too little to hold against its tolerance."""
    std = one.off.value_and_std[1]
    name = {"toe_in": "The difference in toe-in", "distance": "The difference in distance"}.get(
        one.name, f"The {one.name.replace('_', ' ')}"
    )
    if one.name in ("toe_in", "base_angle", "toe_in_asked"):
        known, asked = math.degrees(std), math.degrees(one.tolerance)
        return f"{name} is known to ±{known:.2f}°, the tolerance is {asked:.2g}°"
    return f"{name} is known to ±{fmt.mm(std)}, the tolerance is {fmt.mm(one.tolerance)}"


def _distance_words(result: SurveyResult) -> str:
    """Return which loudspeaker is nearer."""
    difference = result.triangle.distance_m.left_minus_right
    if difference.value is None or difference.std is None:
        return "the readings don't fix both distances to the head"
    near = "right" if difference.value > 0 else "left"
    size = fmt.mm(abs(difference.value), difference.std)
    remark = _tolerance_remark(result, "distance")
    return f"the {near} loudspeaker is {size} nearer to the head{remark}"


def _toe_in_words(result: SurveyResult) -> str:
    """Return which cabinet is turned in more."""
    difference = result.triangle.toe_in_rad.left_minus_right
    if difference.value is None or difference.std is None:
        return "the readings don't fix both toe-in angles"
    more = "left" if difference.value > 0 else "right"
    size = fmt.with_std(
        abs(math.degrees(difference.value)), math.degrees(difference.std), "°"
    ).replace(" °", "°")
    edge = result.triangle.toe_in_edge_m.value_and_std
    return (
        f"the toe-in of the {more} one is {size} more, {fmt.mm(abs(edge[0]), edge[1])} at the "
        f"cabinet's edge{_tolerance_remark(result, 'toe_in')}"
    )


def _tolerance_remark(result: SurveyResult, name: str) -> str:
    """Return a remark on a criterion that doesn't fail."""
    found = next((one for one in result.criteria if one.name == name), None)
    if found is None or found.verdict == "fails":
        return ""
    return " (within tolerance)" if found.verdict == "passes" else " (not certain)"


def _off_text(one: Criterion) -> str:
    """Return how far something is off."""
    value, std = one.off.value_and_std
    if one.name in ("base_angle", "toe_in_asked"):
        said = fmt.with_std(math.degrees(value), math.degrees(std), "°", sign=True)
        return said.replace(" °", "°")
    return fmt.mm(value, std, sign=True)


def misfit_lines(
    result: SurveyResult, *, lines: Mapping[str, int], length: Length = millimetres
) -> list[str]:
    """Return what doesn't fit, what stays open, and a misfit of the whole.

    Parameters
    ----------
    lines : mapping of str to int
        Where each observation stands in its file.
    """
    observations = result.solution.survey_network.observations
    said = []
    for one in result.solution.blunders:
        said += fmt.wrapped(blunder_text(one, observations, lines=lines, length=length), hanging=2)
    for text in (*result.solution.undetermined, *result.solution.contradictions):
        end = "" if text.endswith("?") else "."
        said += fmt.wrapped(text[:1].upper() + text[1:] + end, hanging=2)
    adjusted = result.solution.adjusted
    if not adjusted.converged:
        said += fmt.wrapped("The places didn't settle: the readings contradict each other widely.")
    factor, limits = adjusted.variance_factor, adjusted.variance_factor_range
    if factor is not None and limits is not None and factor > limits[1]:
        said += fmt.wrapped(
            f"The readings scatter {math.sqrt(factor):.1f} times as much as the stated "
            "uncertainties say, and no single one is to blame: take every ± below that much "
            "larger, or state larger uncertainties.",
            hanging=2,
        )
    return said


def blunder_text(
    one: Blunder,
    observations: tuple[Observation, ...],
    *,
    lines: Mapping[str, int],
    length: Length = millimetres,
) -> str:
    """Return what is said of an observation that doesn't fit."""
    observation = observations[one.row]
    place = f" (line {lines[observation.label]})" if observation.label in lines else ""
    if observation.kind == "angle":
        given, would = (f"{math.degrees(value):.1f}°" for value in (one.given, one.expected))
        std = f"{math.degrees(one.expected_std):.1f}°"
    elif observation.kind == "equal" or observation.instrument == "box":
        given, would = (fmt.mm(value) for value in (one.given, one.expected))
        std = fmt.mm(one.expected_std)
    else:
        given, would = length(one.given), length(one.expected)
        std = fmt.mm(max(one.expected_std, 5e-4))
    text = f"{observation.label}{place}: {given} does not fit the others; {would} ± {std} would"
    if sorted(given) == sorted(would) and given != would:
        text += " (digits exchanged?)"
    if one.alternatives:
        names = " or ".join(observations[row].label for row in one.alternatives)
        text += (
            f". As well the wrong one may be {names}: the others can't tell which; read them again"
        )
    return text + "."


def move_lines(result: SurveyResult, *, length: Length = millimetres) -> list[str]:
    """Return the moves in order, each with the observations that must result."""
    said: list[str] = []
    for number, move in enumerate(result.plan.moves, start=1):
        said += fmt.wrapped(f"{number}. {move_text(move, result, length=length)}", hanging=3)
        if move.kind != "check":
            said += [f"     {line}" for line in _observation_table(move.observations, length)]
    return [*said, *fmt.wrapped(CAUTION)] if said else []


def move_text(move: Move, result: SurveyResult, *, length: Length = millimetres) -> str:
    """Return a move in words."""
    if move.kind == "check":
        left, right = move.observations
        within = fmt.mm(result.target.distance_tolerance_m)
        return (
            f"Check: {left.label} must read {length(left.after)}, {right.label} "
            f"{length(right.after)}, {_difference_text(left.after - right.after)} within {within}. "
            "If not, survey again."
        )
    if move.kind == "seat":
        ways = _way_texts(
            (move.outward_m, move.outward_std_m, "to the right", "to the left"),
            (move.toward_wall_m, move.toward_wall_std_m, "forward", "back"),
        )
        return f"Move the seat {ways}."
    if move.kind == "slide":
        ways = _way_texts(
            (move.toward_wall_m, move.toward_wall_std_m, "toward the front wall", "into the room"),
            (move.outward_m, move.outward_std_m, "outward", "inward"),
        )
        return f"Slide the {move.what} loudspeaker {ways}."
    forward = "forward, into the room" if move.edge_m > 0 else "back, toward the front wall"
    sense = "inward" if move.turn_rad > 0 else "outward"
    angle = fmt.with_std(abs(math.degrees(move.turn_rad)), math.degrees(move.turn_std_rad), "°")
    return (
        f"Turn the {move.what} loudspeaker {angle.replace(' °', '°')} {sense} about "
        f"{move.about}: its {move.edge} front edge comes "
        f"{fmt.mm(abs(move.edge_m), move.edge_std_m)} {forward}."
    )


def _difference_text(difference_m: float) -> str:
    """Return how two distances compare."""
    return "equal" if abs(difference_m) < 5e-4 else f"{fmt.mm(abs(difference_m))} apart"


def _way_texts(*parts: tuple[float, float, str, str]) -> str:
    """Return the parts of a slide that a tape can show."""
    said = [
        f"{fmt.mm(abs(value), std)} {plus if value > 0 else minus}"
        for value, std, plus, minus in parts
        if abs(value) >= 5e-4
    ]
    return " and ".join(said)


def _observation_table(observations: tuple[ObservationChange, ...], length: Length) -> list[str]:
    """Return the observations that change most, each once however often it was taken."""
    rows: dict[str, tuple[str, ...]] = {}
    for one in sorted(observations, key=lambda one: -abs(one.after - one.before)):
        before, after = length(one.before), length(one.after)
        if one.kind != "angle" and before != after and len(rows) < MOST_OBSERVATIONS:
            label = one.label.split(", reading ")[0]
            rows[label] = (label, before, "→", after)
    return fmt.table(rows.values(), right=(1, 3))


def arrival_lines(found: ArrivalAgainstSurvey, *, length: Length = millimetres) -> list[str]:
    """Return what the sound's arrival difference says beside the surveyed one."""
    both = (
        f"left minus right by sound {fmt.mm(found.sound_m, sign=True)}, by tape and laser "
        f"{fmt.mm(found.survey_m, sign=True)}: "
        f"{fmt.mm(found.disagreement_m, found.std_m, sign=True)} apart"
    )
    if found.agrees:
        return fmt.wrapped(f"{both}. They agree within two sigmas.")
    way = "right" if found.microphone_right_m > 0 else "left"
    said = fmt.wrapped(f"{both}. That is more than two sigmas. One of these is the cause:")
    reasons = [
        f"the microphone stood {fmt.mm(abs(found.microphone_right_m))} to the {way} of the "
        "surveyed head",
        f"the loudspeakers radiate from depths {fmt.mm(abs(found.disagreement_m))} unlike behind "
        "their reference points",
    ]
    if found.suspects:
        slips = ", or ".join(
            f"{one.label} {length(one.would_be_m)} instead of {length(one.given_m)}"
            for one in found.suspects
        )
        reasons.append(f"a slip that the other readings can't show: {slips}")
    for reason in reasons:
        said += fmt.wrapped(f"- {reason}", indent=2, hanging=2)
    return said
