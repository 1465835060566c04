"""``apexline log adopt``: complete takes copied from elsewhere."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import click

from measure.commands.options import FILE
from measure.terminal.option_record import defaults_from, options_from


@dataclass(frozen=True, kw_only=True, slots=True)
class LogAdoptOptions:
    """Which takes are copied into which logbook."""

    folder: Path = Path()
    takes: tuple[Path, ...]


@defaults_from(LogAdoptOptions)
@click.command("adopt")
@click.argument("takes", type=FILE, nargs=-1, required=True)
@click.pass_obj
def command(folder: Path, /, **given: object) -> None:
    """Copy complete TAKES from elsewhere into the logbook, as they are."""
    run(options_from(LogAdoptOptions, given | {"folder": folder}))


def run(options: LogAdoptOptions) -> None:
    """Copy each take, and say where it is kept."""
    from measure.logbook.exchange.archive import adopt_take
    from measure.logbook.folder import open_logbook

    logbook = open_logbook(options.folder)
    for take in options.takes:
        click.echo(f"Kept in {adopt_take(logbook, take)}")
