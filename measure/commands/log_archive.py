"""``apexline log archive``: a whole logbook as one file."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import click

from measure.commands.options import FILE
from measure.terminal.option_record import defaults_from, options_from


@dataclass(frozen=True, kw_only=True, slots=True)
class LogArchiveOptions:
    """Which logbook is written, and to which file."""

    folder: Path = Path()
    target: Path


@defaults_from(LogArchiveOptions)
@click.command("archive")
@click.argument("target", type=FILE, metavar="FILE.zip")
@click.pass_obj
def command(folder: Path, /, **given: object) -> None:
    """Write the whole logbook, without its bin, as one archive."""
    run(options_from(LogArchiveOptions, given | {"folder": folder}))


def run(options: LogArchiveOptions) -> None:
    """Write the archive, and say how many files are in it."""
    from measure.logbook.exchange.archive import write_archive
    from measure.logbook.folder import open_logbook

    n_files = write_archive(open_logbook(options.folder), options.target)
    click.echo(f"Wrote {n_files} files into {options.target}")
