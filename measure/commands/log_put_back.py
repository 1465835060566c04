"""``apexline log put-back``: how a pair comes back to where it once stood."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from measure.terminal.option_record import defaults_from, options_from
from measure.terminal.printed_lines import print_lines

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analysis.survey.moves.put_back import ObservationToRestore, PutBack, Step
    from measure.files.output import JsonObject
    from measure.logbook.entries.pair_place import PairPlace


@dataclass(frozen=True, kw_only=True, slots=True)
class LogPutBackOptions:
    """The kept place, and how the pair stands today."""

    folder: Path = Path()
    place: str
    today: str | None = None
    json_target: str | None = None


@defaults_from(LogPutBackOptions)
@click.command("put-back", short_help="How a pair comes back to a kept place.")
@click.argument("place")
@click.option(
    "--from", "today", metavar="SURVEY", help="Where it stands: SURVEY.toml, a survey, a place."
)
@click.option("--json", "json_target", metavar="FILE", help="Write it as JSON; - to print.")
@click.pass_obj
def command(folder: Path, /, **given: object) -> None:
    """Say what to move, from where the pair stands today to the kept PLACE.

    PLACE is a place or a survey in the logbook. With two surveys both are laid over each
    other at the marks that they share. Without --from it says what the tape must read there.
    """
    run(options_from(LogPutBackOptions, given | {"folder": folder}))


def run(options: LogPutBackOptions) -> None:
    """Say what to move, or what the tape must read."""
    from measure.files.output import check_json_target, write_json
    from measure.logbook.entries.pair_place import find_pair_place
    from measure.logbook.folder import open_logbook

    check_json_target(options.json_target)
    logbook = open_logbook(options.folder)
    kept = find_pair_place(logbook, options.place)
    today = None if options.today is None else find_pair_place(logbook, options.today)
    lines, document = _answer(today, kept)
    if options.json_target is not None:
        head: JsonObject = {"schema": 1, "command": "log put-back", "place": kept.label}
        write_json(head | {"from": options.today} | document, options.json_target)
    print_lines(lines, to_error=options.json_target == "-")


def _answer(today: PairPlace | None, kept: PairPlace) -> tuple[list[str], JsonObject]:
    """Return what is said, and the same as JSON knows it."""
    if today is None:
        return _observations_there(kept)
    if today.result is not None and kept.result is not None:
        return _by_surveys(today, kept)
    from analysis.report.survey.put_back import observation_lines, step_lines
    from analysis.report.survey.verdict import CAUTION
    from analysis.survey.moves.coordinates import observations_to_restore, steps_between
    from measure.logbook.entries.pair_place import coordinates

    now, then = coordinates(today), coordinates(kept)
    steps, observations = steps_between(now, then), observations_to_restore(now, then)
    lines = [
        f"Back to {kept.label}, from {today.label}, by their distances from the walls",
        *_indent(step_lines(steps)),
        "What the tape must read then",
        *_indent(observation_lines(observations)),
        *_caution(CAUTION),
    ]
    return lines, _document(steps, observations, ())


def _observations_there(kept: PairPlace) -> tuple[list[str], JsonObject]:
    """Return what the tape reads at a kept place."""
    from analysis.report.survey.put_back import observation_lines
    from analysis.survey.moves.coordinates import observations_to_restore
    from measure.logbook.entries.pair_place import coordinates
    from measure.survey.lengths import say_length

    if kept.result is None or kept.file is None:
        observations: Sequence[ObservationToRestore] = observations_to_restore(
            None, coordinates(kept)
        )
        lines = observation_lines(observations, now=False)
    else:
        from analysis.survey.moves.put_back import kept_observations

        unit = kept.file.unit
        observations = kept_observations(kept.result.solution)
        lines = observation_lines(
            observations, now=False, length=lambda m: say_length(m, unit=unit)
        )
    said = [f"At {kept.label} the tape must read", *_indent(lines)]
    hint = "With --from TODAY.toml, a survey of how it stands, it says what to move."
    return [*said, hint], _document((), observations, ())


def _by_surveys(today: PairPlace, kept: PairPlace) -> tuple[list[str], JsonObject]:
    """Return the way back by two surveys."""
    from analysis.survey.moves.put_back import put_back as way_back
    from measure.errors import LogbookError

    _require_sound(today, kept)
    now, then = today.result, kept.result
    assert now is not None and then is not None  # noqa: PT018
    try:
        found = way_back(now.solution, then.solution)
    except ValueError as problem:
        msg = f"the way from {today.label} to {kept.label} can't be told: {problem}"
        raise LogbookError(msg) from problem
    lines = [f"Back to {kept.label}, from {today.label}", *_way_lines(today, found)]
    return lines, _document(found.steps, found.observations, _moves(found)) | {
        "marks": list(found.marks),
        "moved_marks": [one.name for one in found.moved_marks],
    }


def _way_lines(today: PairPlace, found: PutBack) -> list[str]:
    """Return the way back from a survey of today."""
    from dataclasses import replace

    from analysis.report.survey import put_back as words
    from analysis.report.survey.verdict import move_lines
    from measure.survey.lengths import say_length

    assert today.result is not None and today.file is not None  # noqa: PT018
    unit = today.file.unit

    def length(value_m: float) -> str:
        return say_length(value_m, unit=unit)

    return [
        *_indent(words.step_lines(found.steps)),
        "What to do",
        *_indent(move_lines(replace(today.result, plan=found.plan), length=length)),
        "What the tape must read then",
        *_indent(words.observation_lines(found.observations, length=length)),
        "How it was found",
        *_indent(words.mark_lines(found.marks, found.moved_marks)),
    ]


def _require_sound(today: PairPlace, kept: PairPlace) -> None:
    """Refuse a survey on which nothing should be moved."""
    from measure.errors import LogbookError

    for one in (today, kept):
        if one.result is not None and one.result.doubts:
            msg = (
                f"nothing should be moved by {one.label}: its readings contradict each other; "
                "`apexline survey` on its file says which to read again"
            )
            raise LogbookError(msg)


def _indent(lines: list[str]) -> list[str]:
    """Return lines under a heading."""
    return [f"  {line}" for line in lines]


def _caution(text: str) -> list[str]:
    """Return a caution in lines."""
    from analysis.report.format import wrapped

    return wrapped(text)


def _moves(found: PutBack) -> list[JsonObject]:
    """Return the moves in order."""
    from measure.survey.document import move_document

    return [move_document(one) for one in found.plan.moves]


def _document(
    steps: Sequence[Step],
    observations: Sequence[ObservationToRestore],
    moves: Sequence[JsonObject],
) -> JsonObject:
    """Return the answer as JSON knows it; millimetres and degrees."""
    return {
        "steps": [_step(one) for one in steps],
        "moves": list(moves),
        "readings": [
            {"reading": one.label, "unit": "deg" if one.kind == "angle" else "mm"}
            | {
                name: value * (180 / math.pi if one.kind == "angle" else 1e3)
                for name, value in (("now", one.now), ("then", one.then), ("std", one.std))
            }
            for one in observations
        ],
    }


def _step(one: Step) -> JsonObject:
    """Return how far one thing has to go."""
    table: JsonObject = {"what": one.what, "moves": one.moves, "turns": one.turns}
    for name, way in (
        ("toward_wall", one.toward_wall_m),
        ("outward", one.outward_m),
        ("higher", one.higher_m),
    ):
        value, std = way.value_and_std
        table |= {f"{name}_mm": value * 1e3, f"{name}_std_mm": std * 1e3}
    turn = (None, None) if one.turn_rad is None else one.turn_rad.value_and_std
    for name, angle in zip(("turn_inward_deg", "turn_inward_std_deg"), turn, strict=True):
        table[name] = None if angle is None else math.degrees(angle)
    return table
