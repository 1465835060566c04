"""``apexline log finish``: an interrupted take completed with what is there."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from pathlib import Path

import click

from measure.commands.options import FILE
from measure.commands.options.conditions import ConditionOptions, take_conditions
from measure.terminal.option_record import defaults_from, options_from
from measure.terminal.printed_lines import print_lines

WIDTH = 78


@dataclass(frozen=True, kw_only=True, slots=True)
class LogFinishOptions:
    """Which take, where, and in which room it was made."""

    folder: Path = Path()
    name: str
    room_path: Path | None = None


@defaults_from(LogFinishOptions)
@click.command("finish", short_help="Complete an interrupted take with what is there.")
@click.argument("name")
@click.option("--room", "room_path", type=FILE, help="Room file, for the bass.")
@click.pass_obj
def command(folder: Path, /, **given: object) -> None:
    """Complete the interrupted take NAME with what is there: a key, a kill or a power cut ended it.

    Its reading is made as far as it goes, and it is marked as interrupted. NAME is the take's
    name, or its folder's. `apexline log discard` moves one to the logbook's bin instead.
    """
    run(options_from(LogFinishOptions, given | {"folder": folder}))


def run(options: LogFinishOptions) -> None:
    """Complete it, and say what it says."""
    from analysis.report.reading.lines import reading_lines
    from measure.files.microphone import correction_lines
    from measure.logbook.folder import takes_folder
    from measure.takes.interrupted import (
        finish_interrupted,
        interrupted_path,
        read_any_take,
        refuse_in_use,
    )
    from measure.terminal.progress_line import show_progress

    path = interrupted_path(takes_folder(options.folder), options.name)
    refuse_in_use(path)
    take = read_any_take(path)
    around = take_conditions(take, ConditionOptions(), options.room_path)
    with show_progress("Reading the recording"):
        kept, reading = finish_interrupted(path, around)
    if reading is not None:
        lines = reading_lines(
            reading.reading,
            source=reading.source_lines,
            microphone=correction_lines(around.microphone),
            brief=True,
        )
        print_lines(lines, to_error=False)
    else:
        click.echo("No reading is in it: too little was recorded, or no sweep was heard.")
    if take.interrupted:
        said = f"The take was interrupted: {take.interrupted}."
        click.echo(textwrap.fill(said, WIDTH, subsequent_indent="  "))
    click.echo(f'Kept in the folder "{kept}".')
