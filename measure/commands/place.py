"""``apexline place``: where to stand the pair and the seat for bass."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from measure.commands.options import FILE
from measure.terminal.distance_range import DistanceRange
from measure.terminal.number_type import NumberRange
from measure.terminal.option_record import defaults_from, options_from
from measure.terminal.printed_lines import list_written, print_lines

if TYPE_CHECKING:
    from analysis.placement.fit.room_fit import MeasuredPlace, RoomFit
    from analysis.placement.response.room_response import RoomModel
    from measure.files.output import JsonObject
    from measure.files.room_file import RoomFile
    from measure.placement.placing import Advice, Range

_RANGE = DistanceRange()
_FORM = "FROM:TO:STEP in metres, or keep."


@dataclass(frozen=True, kw_only=True, slots=True)
class PlaceOptions:
    """Which room, which places are tried and what was measured in it, what is written."""

    room: Path
    survey: Path | None = None
    front: Range | str | None = None
    spread: Range | str | None = None
    seat: Range | str | None = None
    clearance_m: float = 0.3
    lower_end_hz: float | None = None
    readings: tuple[Path, ...] = ()
    walk: Path | None = None
    json_target: str | None = None
    figures: Path | None = None
    logbook: Path | None = None


@defaults_from(PlaceOptions)
@click.command("place", short_help="Where to stand the pair and the seat for bass.")
@click.argument("room", type=FILE)
@click.option(
    "--survey",
    "survey",
    type=FILE,
    help="Take the places of pair and seat from this survey, walls from ROOM.toml.",
)
@click.option(
    "--front", type=_RANGE, help=f"The pair from the front wall: {_FORM}  [default: derived]"
)
@click.option(
    "--spread", type=_RANGE, help=f"Each from the centre line: {_FORM}  [default: derived]"
)
@click.option(
    "--seat", type=_RANGE, help=f"The head from the front wall: {_FORM}  [default: derived]"
)
@click.option(
    "--clearance",
    "clearance_m",
    type=NumberRange(0.05, 2),
    show_default=True,
    help="Least distance of a loudspeaker's middle from walls and furniture, m.",
)
@click.option(
    "--lower-end",
    "lower_end_hz",
    type=NumberRange(10, 150),
    help="Where the loudspeakers are 3 dB down, Hz.  [default: flat until readings show it]",
)
@click.option(
    "--reading",
    "readings",
    type=FILE,
    multiple=True,
    help="A reading saved by `apexline read --room --json`; the prediction is fitted to all.",
)
@click.option(
    "--walk",
    "walk",
    type=FILE,
    help="Write into this file at which places to measure; take in what was measured there.",
)
@click.option("--json", "json_target", metavar="FILE", help="Write it as JSON; - to print.")
@click.option("--figures", type=FILE, help="Draw map, curves and plan into this folder.")
@click.option(
    "--log",
    "logbook",
    type=FILE,
    help="Keep the walk in this logbook.  [default: the one around here]",
)
def command(**given: object) -> None:
    """Say where in ROOM.toml the pair and the seat have the evenest bass, and the strongest.

    It is a prediction from the room file alone; readings made at known places (--reading,
    or a walk) say where it can't be trusted, and show what a fit to them would choose.
    """
    run(options_from(PlaceOptions, given))


def run(options: PlaceOptions) -> None:
    """Say where pair and seat stand best, and write what was asked for."""
    from measure.files.output import check_json_target, write_json
    from measure.placement.document import place_document
    from measure.survey.places import room_with_survey

    check_json_target(options.json_target)
    walk = options.walk
    file, origin = room_with_survey(options.room, options.survey)
    found, tail, written = _find_places(file, options)
    schroeder_hz = _schroeder_hz(file)
    document = place_document(
        found.advice.placement,
        found.fit,
        found.model,
        by_fit=None if found.by_fit is None else found.by_fit.placement,
        schroeder_hz=schroeder_hz,
    )
    if options.json_target is not None:
        write_json(document, options.json_target)
    if walk is not None and walk.exists():
        written += _keep_plan(walk, document, options)
    lines = [*origin, *_lines(file, found, schroeder_hz), *tail]
    print_lines([*lines, *list_written(written)], to_error=options.json_target == "-")


@dataclass(frozen=True, kw_only=True, slots=True)
class _Found:
    """What a room gives: its model, what was measured in it, the fit to that, and the advice.

    Attributes
    ----------
    advice : Advice
        By the room file alone.
    by_fit : Advice or None
        After the fit, to compare; None without readings.
    """

    model: RoomModel
    measured: list[MeasuredPlace]
    fit: RoomFit | None
    advice: Advice
    by_fit: Advice | None


def _find_places(file: RoomFile, options: PlaceOptions) -> tuple[_Found, list[str], list[Path]]:
    """Return what the room gives, what is to be measured next, and the figures drawn."""
    from measure.placement.placing import (
        advise,
        fit_readings,
        model_and_places,
        read_measured_places,
    )
    from measure.terminal.progress_line import show_progress

    room, walk = options.room, options.walk
    with show_progress("Computing the room") as step:
        ranges = (options.front, options.spread, options.seat)
        model, places = model_and_places(room, file, ranges, clearance_m=options.clearance_m)
        measured = read_measured_places(file, options.readings, walk)
        if measured:
            step("Fitting the room to the readings")
        fit = fit_readings(model, measured)
        step("Judging the places")
        end_hz = options.lower_end_hz
        advice = advise(model, places, None, lower_end_hz=end_hz)
        by_fit = None if fit is None else advise(model, places, fit, lower_end_hz=end_hz)
        found = _Found(model=model, measured=measured, fit=fit, advice=advice, by_fit=by_fit)
        believed = fit is None or not fit.contradicted
        tail = _plan_lines(walk, found) if walk is not None and believed else []
        written = [] if options.figures is None else _draw(file, found, options.figures)
    return found, tail, written


def _schroeder_hz(file: RoomFile) -> float:
    """Return the frequency above which modes overlap."""
    from analysis.room.reverberation import reverberation_time_s, schroeder_frequency_hz

    c = file.air.speed_of_sound_m_s
    decay_s = reverberation_time_s(file.room, speed_of_sound_m_s=c)
    return schroeder_frequency_hz(file.room, reverberation_time_s=decay_s)


def _lines(file: RoomFile, found: _Found, schroeder_hz: float) -> list[str]:
    """Return the choices and what they rest on, or why there are none."""
    from analysis.placement.places import current_distances_m
    from analysis.report.placement.choice import placement_lines
    from analysis.report.placement.room_fit import fit_choice_lines, fit_lines, no_advice_lines

    fit = found.fit
    if fit is not None and fit.contradicted:
        return [*no_advice_lines(fit), "", *fit_lines(fit)]
    today = current_distances_m(file.room, file.positions)
    lines = placement_lines(found.advice.placement, current=today, schroeder_hz=schroeder_hz)
    if fit is None or found.by_fit is None:
        return lines
    beside = fit_choice_lines(found.by_fit.placement, current=today)
    return [*lines, "", *beside, "", *fit_lines(fit)]


def _keep_plan(walk: Path, document: JsonObject, options: PlaceOptions) -> list[Path]:
    """Keep the walk and its fit in the logbook that was named or is around."""
    from measure.logbook.entries.measurement_plans import file_walk
    from measure.logbook.entries.surveys import surrounding_logbook

    found = surrounding_logbook(options.logbook)
    return [] if found is None else file_walk(found, walk, document, room=options.room.stem)


def _plan_lines(path: Path, found: _Found) -> list[str]:
    """Plan what is left of the walk, and return what to do."""
    from analysis.placement.measurement_plan import expected_regret_db
    from analysis.report.placement.measurement_plan import measurement_plan_lines
    from measure.placement.placing import update_measurement_plan

    # Where to measure next follows from what is known by now; where to stand doesn't.
    advice = found.advice if found.by_fit is None else found.by_fit
    n_measured = len(found.measured)
    stops = update_measurement_plan(path, advice, n_measured=n_measured)
    regret = expected_regret_db(advice.placement)
    return ["", *measurement_plan_lines(stops, n_measured=n_measured, regret_db=regret)]


def _draw(file: RoomFile, found: _Found, folder: Path) -> list[Path]:
    """Draw the figures."""
    from analysis.plots.placement import fit_figure, map_figure, plan_figure
    from measure.files.figures import write_figures

    model, advice, fit, measured = found.model, found.advice, found.fit, found.measured
    if fit is not None and fit.contradicted:
        return write_figures({"fit": fit_figure(model, measured, fit)}, folder)
    figures = {
        "map": map_figure(model, advice.placement, file.positions, offsets=advice.offsets),
        "plan": plan_figure(file.room, advice.placement, furniture=file.furniture),
    }
    if fit is not None:
        figures["fit"] = fit_figure(model, measured, fit)
    return write_figures(figures, folder)
