"""``apexline room``: modes, counts and boundary cancellations of a room."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from measure.commands.options import FILE
from measure.terminal.option_record import defaults_from, options_from
from measure.terminal.printed_lines import list_written, print_lines

EFFECT_HZ = (20.0, 300.0)
"""Each surface's effect is written in steps of 1 Hz from here to there."""

if TYPE_CHECKING:
    from analysis.basics.arrays import Float
    from analysis.room.modes import Modes
    from analysis.room.reflections import Reflection
    from measure.files.output import JsonObject
    from measure.files.room_file import RoomFile


@dataclass(frozen=True, kw_only=True, slots=True)
class RoomOptions:
    """Which room, how far up its modes, and what is written."""

    room: Path
    survey: Path | None = None
    highest_hz: float = 200.0
    error_percent: float = 0.1
    json_target: str | None = None
    figures: Path | None = None


@defaults_from(RoomOptions)
@click.command("room", short_help="What a room's size and shape foretell.")
@click.argument("room", type=FILE)
@click.option(
    "--survey",
    "survey",
    type=FILE,
    help="Take the places of pair and seat from this survey, walls from ROOM.toml.",
)
@click.option(
    "--up-to",
    "highest_hz",
    type=click.FloatRange(20, 400),
    show_default=True,
    help="Modes up to here, Hz.",
)
@click.option(
    "--error",
    "error_percent",
    type=click.FloatRange(0.005, 5),
    show_default=True,
    help="What a mode's frequency may be off by, %.",
)
@click.option("--json", "json_target", metavar="FILE", help="Write it as JSON; - to print.")
@click.option("--figures", type=FILE, help="Draw what each surface does into this folder.")
def command(**given: object) -> None:
    """Print the modes of ROOM.toml, how each loudspeaker drives them, and the cancellations.

    Any floor plan will do (floor_m in the room file), under a ceiling that is level or
    slopes along one direction.
    """
    run(options_from(RoomOptions, given))


def run(options: RoomOptions) -> None:
    """Say what the room does, and write what was asked for."""
    from analysis.report.room import room_lines
    from analysis.room.reflections import reflections
    from measure.files.output import check_json_target, write_json
    from measure.survey.places import room_with_survey
    from measure.terminal.progress_line import show_progress

    check_json_target(options.json_target)
    file, origin = room_with_survey(options.room, options.survey)
    c = file.air.speed_of_sound_m_s
    with show_progress("Finding the room's modes"):
        modes = _modes(file, options)
    couplings = _couplings(file, modes)
    heard = {
        side: reflections(file.room, speaker.woofer, file.positions.seat)
        for side, speaker in (("left", file.positions.left), ("right", file.positions.right))
    }
    if options.json_target is not None:
        document = _document(file, modes, options.highest_hz, couplings, heard)
        write_json(document, options.json_target)
    written = [] if options.figures is None else _draw(heard, c, options.figures)
    lines = room_lines(
        file.room,
        modes,
        file.air,
        highest_hz=options.highest_hz,
        couplings=couplings,
        reflections=heard,
    )
    lines = [*origin, *lines, *list_written(written)]
    print_lines(lines, to_error=options.json_target == "-")


def _modes(file: RoomFile, options: RoomOptions) -> Modes:
    """Return the room's modes."""
    from analysis.room.modes import room_modes
    from measure.errors import RoomFileError

    c = file.air.speed_of_sound_m_s
    try:
        return room_modes(
            file.room,
            options.highest_hz,
            speed_of_sound_m_s=c,
            error_percent=options.error_percent,
        )
    except ValueError as problem:
        msg = f"{options.room}: {problem}"
        raise RoomFileError(msg) from problem


def _draw(
    heard: dict[str, tuple[Reflection, ...]], speed_of_sound_m_s: float, folder: Path
) -> list[Path]:
    """Draw the figure of the surfaces."""
    from analysis.plots.room import reflections_figure
    from measure.files.figures import write_figures

    figure = reflections_figure(heard, speed_of_sound_m_s=speed_of_sound_m_s)
    return write_figures({"surfaces": figure}, folder)


def _couplings(file: RoomFile, modes: Modes) -> dict[str, Float]:
    """Return each mode's shape at the loudspeaker times that at the seat, -1 to 1 in a box."""
    import numpy as np

    places = (file.positions.left.woofer, file.positions.right.woofer, file.positions.seat)
    shapes = modes.shapes_at(np.stack([place.array for place in places]))
    if modes.indices is not None:
        shapes = shapes / modes.largest_shapes()
    return {"left": shapes[0] * shapes[2], "right": shapes[1] * shapes[2]}


def _document(
    file: RoomFile,
    modes: Modes,
    highest_hz: float,
    couplings: dict[str, Float],
    heard: dict[str, tuple[Reflection, ...]],
) -> JsonObject:
    """Return it as JSON knows it."""
    from analysis.room.reverberation import reverberation_time_s, schroeder_frequency_hz

    c = file.air.speed_of_sound_m_s
    frequency_hz = modes.frequency_hz(speed_of_sound_m_s=c)
    decay_s = reverberation_time_s(file.room, speed_of_sound_m_s=c)
    schroeder_hz = schroeder_frequency_hz(file.room, reverberation_time_s=decay_s)
    return {
        "schema": 1,
        "command": "room",
        "floor_m": [list(corner) for corner in file.room.plan.corners_m],
        "area_m2": file.room.plan.area_m2,
        "volume_m3": file.room.volume_m3,
        "speed_of_sound_m_s": c,
        "decay_s": decay_s,
        "absorption_is_assumed": file.room.absorption_is_assumed,
        "schroeder_hz": schroeder_hz,
        "n_modes": int(frequency_hz.size - 1),
        "n_modes_below_schroeder": int((frequency_hz <= schroeder_hz).sum() - 1)
        if schroeder_hz <= highest_hz
        else None,
        "error_percent": modes.error_percent,
        "modes": _mode_tables(modes, frequency_hz, couplings),
        "cancellations": _cancellation_tables(file, heard),
        "surfaces": _surface_tables(file, heard),
    }


def _mode_tables(
    modes: Modes, frequency_hz: Float, couplings: dict[str, Float]
) -> list[JsonObject]:
    """Return the modes but the uniform pressure."""
    return [
        {
            "frequency_hz": float(frequency_hz[k]),
            "indices": None if modes.indices is None else [int(i) for i in modes.indices[k]],
            "kind": modes.kinds[k],
            "coupling": {side: float(couplings[side][k]) for side in ("left", "right")},
        }
        for k in range(1, frequency_hz.size)
    ]


def _cancellation_tables(
    file: RoomFile, heard: dict[str, tuple[Reflection, ...]]
) -> list[JsonObject]:
    """Return all cancellations of both loudspeakers."""
    c = file.air.speed_of_sound_m_s
    return [
        {
            "side": side,
            "surface": one.surface,
            "order": order,
            "frequency_hz": at_hz,
            "frequency_std_hz": at_hz * one.relative_std(file.air),
            "depth_db": one.depth_db,
        }
        for side, found in heard.items()
        for one in found
        for order, at_hz in enumerate(one.cancellations_hz(speed_of_sound_m_s=c), start=1)
    ]


def _surface_tables(file: RoomFile, heard: dict[str, tuple[Reflection, ...]]) -> list[JsonObject]:
    """Return what each surface's reflection does to the direct sound."""
    import numpy as np

    frequency_hz = np.arange(EFFECT_HZ[0], EFFECT_HZ[1] + 1.0)
    c = file.air.speed_of_sound_m_s
    return [
        {
            "side": side,
            "surface": one.surface,
            "first_hz": EFFECT_HZ[0],
            "effect_db": [
                round(float(value), 3) for value in one.level_db(frequency_hz, speed_of_sound_m_s=c)
            ],
        }
        for side, found in heard.items()
        for one in found
    ]
