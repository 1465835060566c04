"""``apexline log discard``: a take moved to the logbook's bin."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from measure.terminal.option_record import defaults_from, options_from

if TYPE_CHECKING:
    from measure.logbook.folder import Logbook


@dataclass(frozen=True, kw_only=True, slots=True)
class LogDiscardOptions:
    """Which take is thrown away."""

    folder: Path = Path()
    name: str


@defaults_from(LogDiscardOptions)
@click.command("discard", short_help="Move a take to the logbook's bin; nothing is deleted.")
@click.argument("name")
@click.pass_obj
def command(folder: Path, /, **given: object) -> None:
    """Move a take, complete or interrupted, to the logbook's bin; nothing is deleted."""
    run(options_from(LogDiscardOptions, given | {"folder": folder}))


def run(options: LogDiscardOptions) -> None:
    """Move the take to the bin, and say where it is."""
    from measure.logbook.bin_folder import throw_away
    from measure.logbook.folder import open_logbook

    logbook = open_logbook(options.folder)
    there = throw_away(logbook, _path_of_any(logbook, options.name))
    click.echo(f"Moved to {there}; `apexline log restore` brings it back.")


def _path_of_any(logbook: Logbook, name: str) -> Path:
    """Return the folder of a complete take of that name, else of an interrupted one."""
    from measure.errors import LogbookError, TakeError
    from measure.logbook.remarks import take_path
    from measure.takes.interrupted import interrupted_path, refuse_in_use

    try:
        return take_path(logbook, name)
    except LogbookError:
        try:
            path = interrupted_path(logbook.takes, name)
        except TakeError:
            path = None
        if path is None:
            raise
    refuse_in_use(path)
    return path
