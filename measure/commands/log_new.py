"""``apexline log new``: a folder made a logbook."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import click

from measure.commands.options import FILE
from measure.terminal.option_record import defaults_from, options_from


@dataclass(frozen=True, kw_only=True, slots=True)
class LogNewOptions:
    """Which folder becomes a logbook."""

    target: Path


@defaults_from(LogNewOptions)
@click.command("new")
@click.argument("target", type=FILE, metavar="DIR")
def command(**given: object) -> None:
    """Make DIR a logbook; what it holds stays as it is."""
    run(options_from(LogNewOptions, given))


def run(options: LogNewOptions) -> None:
    """Make the logbook, and say how takes come into it."""
    from measure.logbook.folder import new_logbook

    logbook = new_logbook(options.target)
    click.echo(f"{logbook.path} is a logbook now: `take` and `nudge` with --log file into it.")
