"""``apexline survey``: the triangle from tape and laser, and what to move."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal, get_args

import click

from measure.commands.options import FILE
from measure.terminal.option_record import defaults_from, options_from
from measure.terminal.printed_lines import list_written, print_lines

if TYPE_CHECKING:
    from analysis.survey.arrival import ArrivalAgainstSurvey
    from analysis.survey.result import SurveyResult
    from measure.survey.file import SurveyFile

Kit = Literal["tape", "laser", "both"]


@dataclass(frozen=True, kw_only=True, slots=True)
class SurveyOptions:
    """Which survey, what is written, and what the logbook is told of it."""

    survey: Path | None = None
    new: Path | None = None
    kit: Kit = "tape"
    card: Path | None = None
    room_out: Path | None = None
    reading: Path | None = None
    json_target: str | None = None
    figures: Path | None = None
    logbook: Path | None = None
    pair: str | None = None
    room: str | None = None
    place: str | None = None
    force: bool = False


@defaults_from(SurveyOptions)
@click.command("survey", short_help="Survey the pair with tape and laser.")
@click.argument("survey", type=FILE, required=False, metavar="[SURVEY.toml]")
@click.option("--new", type=FILE, help="Write a commented starter file instead.")
@click.option(
    "--kit",
    type=click.Choice(get_args(Kit)),
    show_default=True,
    help="What you measure with, for --new.",
)
@click.option("--card", type=FILE, help="Write a card to print and fill by hand.")
@click.option("--room-out", type=FILE, help="Write the room file that `read --room` takes.")
@click.option("--reading", type=FILE, help="Compare with a reading of this placement (JSON).")
@click.option("--json", "json_target", metavar="FILE", help="Write it as JSON; - to print.")
@click.option("--figures", type=FILE, help="Draw the plan, to scale, into this folder.")
@click.option(
    "--log", "logbook", type=FILE, help="Keep it in this logbook.  [default: the one around here]"
)
@click.option("--pair", help="Which pair, for the logbook.")
@click.option("--room", help="Which room, for the logbook.")
@click.option("--place", help="The place that it describes: made in the logbook if it's new.")
@click.option("--force", is_flag=True, help="Replace files written by --new, --card, --room-out.")
def command(**given: object) -> None:
    """Adjust the readings of SURVEY.toml and say what to move, which way and how far.

    Trusts no wall: the centre line starts at a marked middle. Finds a wrong reading if
    the others can tell, and names what nothing fixes.
    """
    run(options_from(SurveyOptions, given))


def run(options: SurveyOptions) -> None:
    """Adjust a survey and say what to do, or write a starter file."""
    from measure.files.output import check_json_target, write_json

    if options.new is not None:
        _starter(options.new, options.kit, force=options.force)
        return
    if options.survey is None:
        msg = "give a SURVEY.toml, or --new FILE to write one to fill in"
        raise click.UsageError(msg)
    from measure.survey.document import survey_document
    from measure.survey.evaluation import evaluate_file
    from measure.survey.file import read_survey

    check_json_target(options.json_target)
    file = read_survey(options.survey)
    result = evaluate_file(file)
    arrival = None if options.reading is None else _arrival(result, options.reading)
    written = _write_files(file, result, options)
    kept, said = _file_into_logbook(file, result, options)
    written += kept
    if options.json_target is not None:
        write_json(survey_document(file, result, arrival), options.json_target)
    lines = [*_lines(file, result, arrival), *said, *list_written(written)]
    print_lines(lines, to_error=options.json_target == "-")


def _starter(new: Path, kit: str, *, force: bool) -> None:
    """Write a starter file, and say in which order to measure."""
    from importlib import resources

    from measure.files.output import check_writable, refuse_existing, text_writer, write_whole

    check_writable(str(new))
    refuse_existing(new, force=force)
    text = resources.files("measure").joinpath(f"data/survey-{kit}.toml").read_text("utf-8")
    write_whole(new, text_writer(text))
    click.echo(
        f"Wrote {new}: replace its figures, all invented, by yours.\n"
        "Measure in this order: 1. mark the points and read their heights; 2. the cabinets' "
        "sizes;\n3. between furniture and cabinets; 4. the seat; 5. from the head; 6. from the "
        "seat's ends;\n7. to the walls. Then run `apexline survey` on it; with --card CARD.txt it "
        "writes a card\nto print and fill by hand first."
    )
    if kit != "tape":
        click.echo("Never look into the laser, nor point it at eyes, glass or polished metal.")
    click.echo("Get help to lift or tilt a loudspeaker, and mind its spikes and stand.")


def _file_into_logbook(
    file: SurveyFile, result: SurveyResult, options: SurveyOptions
) -> tuple[list[Path], list[str]]:
    """Keep the survey in the logbook that was named or is around; return what is new."""
    from analysis.report.comparison.move_promise import answer_text
    from analysis.report.format import wrapped
    from measure.errors import LogbookError
    from measure.logbook.entries.moves import judged_answer
    from measure.logbook.entries.surveys import file_survey, surrounding_logbook

    logbook = surrounding_logbook(options.logbook)
    if logbook is None:
        if options.pair or options.room or options.place:
            msg = "--pair, --room and --place are for the logbook: name one with --log"
            raise LogbookError(msg)
        return [], []
    filed = file_survey(
        logbook,
        file,
        result,
        steps=_step_texts(file, result),
        pair=options.pair,
        room=options.room,
        place=options.place,
    )
    said = [*filed.said]
    if filed.answered is not None:
        said.append(answer_text(judged_answer(logbook, filed.answered)))
    lines = [line for text in said for line in wrapped(text)]
    return list(filed.kept), ["", *lines] if lines else []


def _step_texts(file: SurveyFile, result: SurveyResult) -> tuple[str, ...]:
    """Return the moves that the survey asks for, in words and in order."""
    from analysis.report.survey.verdict import move_text
    from measure.survey.lengths import say_length

    def length(value_m: float) -> str:
        return say_length(value_m, unit=file.unit)

    return tuple(move_text(one, result, length=length) for one in result.plan.moves)


def _arrival(result: SurveyResult, reading: Path) -> ArrivalAgainstSurvey | None:
    """Return the reading's arrival beside the survey."""
    from analysis.survey.arrival import compare_arrival
    from measure.errors import ReadingFileError
    from measure.files.readings.snapshot import read_snapshot

    snapshot = read_snapshot(reading)
    std_m = snapshot.arrival_in_room_std_m or snapshot.arrival_std_m
    if snapshot.arrival_m is None or std_m is None:
        msg = f"{reading} holds no arrival difference to compare with: it was withheld"
        raise ReadingFileError(msg)
    return compare_arrival(
        result.solution, result.triangle, sound_m=snapshot.arrival_m, sound_std_m=std_m
    )


def _write_files(file: SurveyFile, result: SurveyResult, options: SurveyOptions) -> list[Path]:
    """Write what was asked for; return the paths."""
    from measure.files.output import check_writable, refuse_existing, text_writer, write_whole

    texts: list[tuple[Path, str]] = []
    if options.card is not None:
        from measure.survey.card import card_text

        texts.append((options.card, card_text(file)))
    if options.room_out is not None:
        from measure.survey.room import room_text

        texts.append((options.room_out, room_text(file, result)))
    for path, _ in texts:
        check_writable(str(path))
        refuse_existing(path, force=options.force)
    for path, text in texts:
        write_whole(path, text_writer(text))
    written = [path for path, _ in texts]
    if options.figures is not None:
        from analysis.plots.survey import plan_figure
        from measure.files.figures import write_figures
        from measure.survey.lengths import say_length

        plan = plan_figure(result, length=lambda value_m: say_length(value_m, unit=file.unit))
        written += write_figures({"plan": plan}, options.figures)
    return written


def _lines(
    file: SurveyFile, result: SurveyResult, arrival: ArrivalAgainstSurvey | None
) -> list[str]:
    """Return all that is said, the verdict first."""
    from analysis.report.survey import tables
    from analysis.report.survey import verdict as words
    from measure.survey.lengths import say_length

    def length(value_m: float) -> str:
        return say_length(value_m, unit=file.unit)

    parts = [
        ("", words.verdict_lines(result)),
        ("", words.misfit_lines(result, lines=file.lines, length=length)),
        ("Sound and tape", [] if arrival is None else words.arrival_lines(arrival, length=length)),
        ("What to do", words.move_lines(result, length=length)),
        ("The triangle", tables.figure_lines(result, length=length)),
        ("The walls", tables.wall_lines(result, length=length)),
        ("How far to trust it", tables.reliability_lines(result)),
    ]
    said: list[str] = []
    for title, lines in parts:
        if lines:
            said += [*([""] if said else []), *([title] if title else [])]
            said += [f"  {line}" if title else line for line in lines]
    return said
