"""``apexline log unpack``: an archive made a folder again."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import click

from measure.commands.options import FILE
from measure.terminal.option_record import defaults_from, options_from


@dataclass(frozen=True, kw_only=True, slots=True)
class LogUnpackOptions:
    """Which archive is unpacked, and where."""

    source: Path
    target: Path


@defaults_from(LogUnpackOptions)
@click.command("unpack")
@click.argument("source", type=FILE, metavar="FILE.zip")
@click.argument("target", type=FILE, metavar="DIR")
def command(**given: object) -> None:
    """Unpack an archive into a new folder DIR."""
    run(options_from(LogUnpackOptions, given))


def run(options: LogUnpackOptions) -> None:
    """Unpack the archive, and say how many files came out."""
    from measure.logbook.exchange.archive import read_archive

    n_files = read_archive(options.source, options.target)
    click.echo(f"Unpacked {n_files} files into {options.target}")
