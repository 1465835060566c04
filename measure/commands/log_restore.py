"""``apexline log restore``: the bin, and the way back from it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import click

from measure.commands.options import FILE
from measure.terminal.option_record import defaults_from, options_from


@dataclass(frozen=True, kw_only=True, slots=True)
class LogRestoreOptions:
    """What comes back from the bin; without a path the bin is listed."""

    folder: Path = Path()
    path: Path | None = None


@defaults_from(LogRestoreOptions)
@click.command("restore")
@click.argument("path", type=FILE, required=False)
@click.pass_obj
def command(folder: Path, /, **given: object) -> None:
    """List the bin, or bring back what stands at PATH in it."""
    run(options_from(LogRestoreOptions, given | {"folder": folder}))


def run(options: LogRestoreOptions) -> None:
    """Bring back what is at the path, or list the bin."""
    from measure.logbook.bin_folder import bin_entries
    from measure.logbook.bin_folder import put_back as bring_back
    from measure.logbook.folder import open_logbook

    logbook = open_logbook(options.folder)
    if options.path is not None:
        click.echo(f"Back at {bring_back(logbook, options.path)}")
        return
    found = bin_entries(logbook)
    for one in found:
        click.echo(one)
    if not found:
        click.echo("The bin is empty.")
