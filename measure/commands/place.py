"""``apexline place``: where to stand the pair and the seat for bass."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from measure.surroundings import FILE

if TYPE_CHECKING:
    import numpy as np

    from analysis.arrays import Float
    from analysis.placement import Placement
    from analysis.places import Places
    from analysis.room_fit import MeasuredPlace, RoomFit
    from analysis.room_response import RoomModel
    from measure.room_file import RoomFile

SEED = 1
HIGHEST_HZ = 300.0

_RANGE = "FROM:TO:STEP in metres, or keep."


@click.command("place", short_help="Where to stand the pair and the seat for bass.")
@click.argument("room", type=FILE)
@click.option(
    "--survey",
    "survey",
    type=FILE,
    help="Take the places of pair and seat from this survey, walls from ROOM.toml.",
)
@click.option(
    "--front", "front", help=f"The pair from the front wall: {_RANGE}  [default: derived]"
)
@click.option("--spread", "spread", help=f"Each from the centre line: {_RANGE}  [default: derived]")
@click.option("--seat", "seat", help=f"The head from the front wall: {_RANGE}  [default: derived]")
@click.option(
    "--clearance",
    "clearance_m",
    type=click.FloatRange(0.05, 2),
    default=0.3,
    show_default=True,
    help="Least distance of a loudspeaker's middle from walls and furniture, m.",
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
def command(
    room: Path,
    survey: Path | None,
    front: str | None,
    spread: str | None,
    seat: str | None,
    clearance_m: float,
    readings: tuple[Path, ...],
    walk: Path | None,
    json_target: str | None,
    figures: Path | None,
    logbook: Path | None,
) -> None:
    """Say where in ROOM.toml the pair and the seat have the evenest bass, and the strongest.

    From the room file alone it is a prediction; readings made at known places (--reading,
    or a walk) correct it, and say where it can't be trusted.
    """
    import numpy as np

    from analysis.places import current
    from analysis.report.placement import placement_lines
    from analysis.report.room_fit import fit_lines, no_advice_lines
    from measure.output import check_json_target, progress, write_json
    from measure.surveyed_places import room_with_survey

    check_json_target(json_target)
    file, origin = room_with_survey(room, survey)
    rng = np.random.default_rng(SEED)
    with progress("Computing the room") as step:
        model, places = _prepared(room, file, (front, spread, seat), clearance_m)
        measured = _measured(file, readings, walk)
        if measured:
            step("Fitting the room to the readings")
        fit = _fitted(model, measured)
        step("Judging the places")
        placement, draws = _chosen(model, places, fit, rng)
        walked = None
        if walk is not None and not (fit is not None and fit.contradicted):
            walked = _walked(walk, model, placement, draws, len(measured))
        written = [] if figures is None else _drawn(file, model, placement, fit, measured, figures)
    c = file.air.speed_of_sound_m_s
    decay_s = file.space.reverberation_time_s(speed_of_sound_m_s=c)
    schroeder_hz = file.space.schroeder_hz(reverberation_time_s=decay_s)
    document = _document(placement, fit, model, schroeder_hz)
    if json_target is not None:
        write_json(document, json_target)
    if walk is not None and walk.exists():
        written += _kept(walk, document, room, logbook)
    if fit is not None and fit.contradicted:
        lines = no_advice_lines(fit)
    else:
        today = current(file.space, file.positions)
        lines = placement_lines(placement, current=today, schroeder_hz=schroeder_hz)
    lines = [*origin, *lines]
    if fit is not None:
        lines += ["", *fit_lines(fit)]
    if walked is not None:
        lines += ["", *walked]
    if written:
        lines += ["", "Wrote", *(f"  {path}" for path in written)]
    for line in lines:
        click.echo(line, err=json_target == "-")


def _kept(walk: Path, document: dict[str, Any], room: Path, logbook: Path | None) -> list[Path]:
    """Keep the walk and its fit in the logbook that was named or is around."""
    from measure.logbook.filed_survey import surrounding_logbook
    from measure.logbook.filed_walk import file_walk

    found = surrounding_logbook(logbook)
    return [] if found is None else file_walk(found, walk, document, room=room.stem)


def _prepared(
    path: Path, file: RoomFile, ranges: tuple[str | None, ...], clearance_m: float
) -> tuple[RoomModel, Places]:
    """Return the room's model and the places to judge."""
    from analysis.places import allowed_places, current, derived_ranges
    from analysis.room_response import room_model
    from measure.errors import RoomFileError

    derived = derived_ranges(file.space, file.positions)
    today = current(file.space, file.positions)
    names = ("--front", "--spread", "--seat")
    tried = [
        _range(name, text, own, now)
        for name, text, own, now in zip(names, ranges, derived, today, strict=True)
    ]
    try:
        places = allowed_places(
            file.space,
            file.positions,
            front_m=tried[0],
            spread_m=tried[1],
            seat_m=tried[2],
            furniture=file.furniture,
            clearance_m=clearance_m,
        )
        c = file.air.speed_of_sound_m_s
        return room_model(file.space, HIGHEST_HZ, speed_of_sound_m_s=c), places
    except ValueError as problem:
        msg = f"{path}: {problem}"
        raise RoomFileError(msg) from problem


def _range(name: str, text: str | None, derived: Float, today: float) -> Float:
    """Return the distances that an option means."""
    import numpy as np

    if text is None:
        return derived
    if text == "keep":
        return np.array([today])
    try:
        low, high, step = (float(part) for part in text.split(":"))
    except ValueError:
        low, high, step = 1.0, 0.0, 1.0
    if not (0 < low <= high < 30 and 0.005 <= step < 30):
        msg = f"{name} {text!r}: give FROM:TO:STEP in metres, rising, as 0.3:1.6:0.05, or keep"
        raise click.UsageError(msg)
    return np.round(np.arange(low, high + 1e-9, step), 4)


def _measured(file: RoomFile, readings: tuple[Path, ...], walk: Path | None) -> list[MeasuredPlace]:
    """Return all readings with their places."""
    from measure.walk_file import measured_reading, measured_stop, read_walk

    found = [measured_reading(path, file.space, file.positions) for path in readings]
    if walk is not None:
        found += [
            measured_stop(walk, stop, file.space, file.positions)
            for stop in read_walk(walk)
            if stop.reading
        ]
    return found


def _fitted(model: RoomModel, measured: list[MeasuredPlace]) -> RoomFit | None:
    """Return the fit, if there is something to fit."""
    from analysis.room_fit import fit_room
    from measure.errors import ReadingFileError

    if not measured:
        return None
    try:
        return fit_room(model, measured)
    except ValueError as problem:
        msg = f"the readings can't be fitted: {problem}"
        raise ReadingFileError(msg) from problem


def _chosen(
    model: RoomModel, places: Places, fit: RoomFit | None, rng: np.random.Generator
) -> tuple[Placement, Float]:
    """Return the choices, and the rooms in which they were judged."""
    from analysis.placement import MODEL_ERROR_DB, N_DRAWS, choose
    from analysis.room_parameters import room_draws

    draws = room_draws(rng, N_DRAWS) if fit is None else fit.draws(rng, N_DRAWS)
    error_db = None if fit is None else fit.model_error_db
    placement = choose(
        model,
        places,
        rng=rng,
        offsets=None if fit is None else fit.offsets,
        draws=draws,
        # Where nothing is to be trusted no choice is told; see `command`.
        trusted=None if fit is None or fit.contradicted else fit.trusted,
        model_error_db=MODEL_ERROR_DB if error_db is None else error_db,
    )
    return placement, draws


def _walked(
    path: Path, model: RoomModel, placement: Placement, draws: Float, n_measured: int
) -> list[str]:
    """Plan the stops that are left, write the walk file, and say what to do."""
    from analysis.report.placement import walk_lines
    from analysis.walk import FEWEST_STOPS, MOST_STOPS, decided, plan_stops, regret_db
    from measure.walk_file import WalkStop, read_walk, write_walk

    done = [stop for stop in read_walk(path) if stop.reading]
    is_decided = decided(placement)
    fewest = max(0, FEWEST_STOPS - n_measured)
    stops = plan_stops(
        model,
        placement,
        draws,
        n_most=fewest if is_decided else max(fewest, MOST_STOPS - n_measured),
        n_fewest=fewest,
    )
    planned = [
        WalkStop(front_wall_m=one.front_wall_m, half_spread_m=one.half_spread_m, seat_m=one.seat_m)
        for one in stops
    ]
    write_walk(path, [*done, *planned])
    return walk_lines(
        stops, n_measured=n_measured, decided=is_decided, regret_db=regret_db(placement)
    )


def _drawn(
    file: RoomFile,
    model: RoomModel,
    placement: Placement,
    fit: RoomFit | None,
    measured: list[MeasuredPlace],
    folder: Path,
) -> list[Path]:
    """Draw the figures."""
    from analysis.plots.placement import fit_figure, map_figure, plan_figure
    from measure.figures import write_figures

    if fit is not None and fit.contradicted:
        return write_figures({"fit": fit_figure(model, measured, fit)}, folder)
    offsets = None if fit is None else fit.offsets
    figures = {
        "map": map_figure(model, placement, file.positions, offsets=offsets),
        "plan": plan_figure(file.space, placement, furniture=file.furniture),
    }
    if fit is not None:
        figures["fit"] = fit_figure(model, measured, fit)
    return write_figures(figures, folder)


def _document(
    placement: Placement, fit: RoomFit | None, model: RoomModel, schroeder_hz: float
) -> dict[str, Any]:
    """Return it as JSON knows it; without choices where the readings contradict the room."""
    choices = () if fit is not None and fit.contradicted else placement.choices
    return {
        "schema": 1,
        "command": "place",
        "schroeder_hz": schroeder_hz,
        "mode_error_percent": (model.flat or model.whole).error_percent,  # type: ignore[union-attr]
        "n_places": placement.places.n_places,
        "choices": [_choice_table(one) for one in choices],
        "fit": None if fit is None else _fit_table(fit),
        "map": [
            {
                "front_wall_m": float(placement.places.front_wall_m[k]),
                "half_spread_m": float(placement.places.half_spread_m[k]),
                "seat_m": float(placement.places.seat_m[k]),
                "evenness_db": float(placement.evenness_db[k]),
                "strength_db": float(placement.strength_db[k]),
                "cost_db": float(placement.cost_db[k]),
                "pareto": bool(placement.pareto[k]),
            }
            for k in range(placement.places.n_places)
        ],
    }


def _choice_table(choice: Any) -> dict[str, Any]:
    """Return a choice's fields under their own names."""
    table = {name: getattr(choice, name) for name in choice.__slots__ if name != "index"}
    return table | {"interval_m": list(choice.interval_m)}


def _fit_table(fit: RoomFit) -> dict[str, Any]:
    """Return a fit."""
    from analysis.band_levels import CENTRES_HZ
    from analysis.room_parameters import NAMES

    return {
        "n_readings": fit.n_readings,
        "kept": fit.kept,
        "contradicted": fit.contradicted,
        "before_db": fit.before_db,
        "after_db": fit.after_db,
        "left_out_before_db": fit.left_out_before_db,
        "left_out_db": fit.left_out_db,
        "undecided": list(fit.undecided),
        "inseparable": [list(pair) for pair in fit.inseparable],
        "parameters": [
            {"name": name, "value": float(value), "std": float(std)}
            for name, value, std in zip(NAMES, fit.offsets, fit.offsets_std, strict=True)
        ],
        "untrusted_hz": [float(at_hz) for at_hz in CENTRES_HZ[fit.trusted == 0]],
    }
