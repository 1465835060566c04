"""``apexline report``: one page of a take, or of two groups of takes."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from measure.commands.options import FILE
from measure.terminal.option_record import defaults_from, options_from

if TYPE_CHECKING:
    from analysis.basics.air import Air
    from analysis.room.room import Positions, Room
    from measure.takes.stored import TakeFile


SOURCES = (
    "Exponential sweeps: A. Farina, AES 108th Convention, preprint 5093 (2000).",
    "Third octaves: IEC 61260-1:2014 (second-hand).",
    "Speed of sound, arrival, level, bass and causes: the pages in docs/, each with its sources.",
)


@dataclass(frozen=True, kw_only=True, slots=True)
class ReportOptions:
    """What the page is of (a take, two groups or a pair), and where it is written."""

    take: Path | None = None
    folder: Path = Path()
    room_path: Path | None = None
    before: tuple[str, ...] = ()
    after: tuple[str, ...] = ()
    pairs: bool = False
    pair: str | None = None
    target: Path


@defaults_from(ReportOptions)
@click.command("report", short_help="Write a page to print or read anywhere.")
@click.argument("take", type=FILE, required=False)
@click.option("--log", "folder", type=FILE, help="The logbook.  [default: here]")
@click.option("--room", "room_path", type=FILE, help="Room file: draws the plan, tells causes.")
@click.option("--before", multiple=True, help="A take of the first group; repeat.")
@click.option("--after", multiple=True, help="A take of the second group; repeat.")
@click.option("--pairs", is_flag=True, help="The groups are two pairs, matched in level.")
@click.option("--pair", help="The history of this pair in the logbook.")
@click.option("--out", "target", type=FILE, required=True, help="The page: a file .html.")
def command(**given: object) -> None:
    """Write one HTML page of TAKE, of --before against --after, or of a --pair.

    TAKE is a take's folder, or its name in the logbook. The page loads nothing from
    anywhere, and the figures are drawn anew from what was kept.
    """
    run(options_from(ReportOptions, given))


def run(options: ReportOptions) -> None:
    """Write the page, and say where."""
    from measure.errors import OutputError
    from measure.files.output import check_writable, text_writer, write_whole

    target = options.target
    groups = bool(options.before and options.after)
    if [options.take is not None, groups, options.pair is not None].count(True) != 1:
        msg = "give a TAKE, or --before and --after, or --pair"
        raise click.UsageError(msg)
    check_writable(str(target))
    if target.suffix.lower() not in (".html", ".htm"):
        msg = f"{target} must end in .html"
        raise OutputError(msg)
    if options.pair is not None:
        text = _history_page(options.folder, options.pair)
    elif options.take is None:
        text = _group_page(options)
    else:
        text = _take_page(
            _folder_of(options.take, options.folder), options.folder, options.room_path
        )
    write_whole(target, text_writer(text))
    click.echo(f"Wrote {target}")


def _history_page(folder: Path, pair: str) -> str:
    """Return the page of a pair's history."""
    from analysis.report.page.history import history_page
    from measure.logbook.folder import open_logbook
    from measure.logbook.history import pair_history, pair_moves

    logbook = open_logbook(folder)
    takes = pair_history(logbook, pair)
    moves = pair_moves(logbook, {one.name for one in takes}, pair)
    return history_page(pair, takes, moves)


def _group_page(options: ReportOptions) -> str:
    """Return the page of two groups."""
    from analysis.report.page.groups import group_page
    from measure.logbook.compared_takes import compare_takes
    from measure.logbook.entries.pair_place import take_places
    from measure.logbook.folder import open_logbook

    logbook = open_logbook(options.folder)
    before, after = options.before, options.after
    found = compare_takes(logbook, before, after, pairs=options.pairs)
    places = take_places(logbook, before[0]), take_places(logbook, after[0])
    return group_page(found, before, after, places=places, sources=SOURCES)


def _folder_of(take: Path, folder: Path) -> Path:
    """Return a take's folder, given that or its name in the logbook."""
    from measure.logbook.folder import open_logbook
    from measure.logbook.remarks import take_path

    return take if take.is_dir() else take_path(open_logbook(folder), str(take))


def _take_page(path: Path, folder: Path, room_path: Path | None) -> str:
    """Return the page of one take, read anew from its recording."""
    from analysis.report.page.take import take_page
    from measure.files.microphone import correction_lines
    from measure.files.readings.recording_reader import read_file
    from measure.takes.stored import read_take, take_microphone

    take = read_take(path)
    room, microphone = _room(take, folder, room_path), take_microphone(take)
    reading = read_file(
        take.recording,
        take.programme,
        air=_air(take),
        room=room,
        microphone=microphone,
        channel=1,
    ).reading
    return take_page(
        reading,
        title=take.facts.take.name,
        when=_when(take),
        room=room,
        cautions=_cautions(take),
        microphone=correction_lines(microphone),
        method=_method_rows(take),
        sources=SOURCES,
    )


def _when(take: TakeFile) -> str:
    """Return what a take is of, and when it was made."""
    facts = take.facts
    named = [one for one in (facts.take.pair, facts.take.room, facts.take.place) if one]
    made = f"{', '.join(named) or 'a take'} · {facts.take.started:%Y-%m-%d %H:%M}"
    return made + (" · simulated room, invented" if facts.device.simulated else "")


def _air(take: TakeFile) -> Air:
    """Return the air as the take knew it."""
    from analysis.basics.air import DEFAULT_TEMPERATURE_STD_C, air_at
    from measure.files.room_file import THERMOMETER_STD_C

    known = take.facts.air
    if known is None:
        return air_at()
    return air_at(
        known.temperature_c,
        temperature_std_c=THERMOMETER_STD_C if known.measured else DEFAULT_TEMPERATURE_STD_C,
        relative_humidity_percent=known.relative_humidity_percent,
    )


def _room(take: TakeFile, folder: Path, room_path: Path | None) -> tuple[Room, Positions] | None:
    """Return the room: the file given, or the one that the logbook keeps under its name."""
    from measure.errors import LogbookError
    from measure.files.room_file import read_room
    from measure.logbook.entries.entries import RoomEntry
    from measure.logbook.entries.store import folder_of, read_entry
    from measure.logbook.folder import open_logbook
    from measure.logbook.names import entry_folder_name

    if room_path is None and take.facts.take.room:
        try:
            logbook = open_logbook(folder)
            entry = read_entry(logbook, RoomEntry, take.facts.take.room)
        except LogbookError:
            return None
        if entry.room_file is None:
            return None
        place = folder_of(logbook, RoomEntry) / entry_folder_name(entry.name, kind="room")
        room_path = place / entry.room_file
    if room_path is None:
        return None
    found = read_room(room_path)
    return found.room, found.positions


def _cautions(take: TakeFile) -> list[str]:
    """Return what this page can't know."""
    said = []
    known = take.facts.microphone
    if known and known.correction_file and take.microphone is None:
        said.append(
            "The take's own reading used the microphone correction "
            f"{known.correction_file}, of which it kept only the name; this page was made without "
            "it, so levels of each loudspeaker differ from it, differences between them don't."
        )
    if take.facts.take.interrupted is not None:
        said.append(f"The take was interrupted: {take.facts.take.interrupted}.")
    if take.facts.air is None or not take.facts.air.measured:
        said.append("The temperature was assumed, not measured.")
    return said


def _method_rows(take: TakeFile) -> tuple[tuple[str, ...], ...]:
    """Return how it was measured, so that another could do it again."""
    facts, sweep = take.facts, take.programme.sweep
    rows = [
        ("", "value"),
        ("sound path", facts.device.path),
        ("sampling frequency", f"{take.recorded.sample_rate_hz} Hz"),
        ("sweep", f"{sweep.start_hz:g} to {sweep.stop_hz:g} Hz in {sweep.duration_s:g} s"),
        ("peak of the sweep", f"{sweep.level_dbfs:.1f} dBFS"),
        ("order of the passes", take.programme.order),
        ("recorded", f"{take.recorded.n_frames / take.recorded.sample_rate_hz:.1f} s"),
        ("gaps that the driver reported", _n_gaps(take)),
        ("checksum of the samples", take.recorded.sha256),
    ]
    rows.insert(3, ("microphone correction", _correction(take)))
    if facts.air is not None:
        rows.insert(3, ("temperature", f"{facts.air.temperature_c:.1f} °C"))
    return tuple(rows)


def _n_gaps(take: TakeFile) -> str:
    """Return how many gaps the driver reported, as far as is known."""
    driver = take.facts.driver
    return "not known: the take was interrupted" if driver is None else str(driver.n_xruns)


def _correction(take: TakeFile) -> str:
    """Return which correction the page was made with."""
    known = take.facts.microphone
    if known is None or known.correction_file is None:
        return "none"
    if take.microphone is None:
        return f"{known.correction_file}, not kept"
    angle = "" if known.angle_deg is None else f", for {known.angle_deg:.0f}°"
    return f"{known.correction_file}, kept in the take{angle}"
