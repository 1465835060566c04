"""``apexline log show``: a take, what is known and what was said of it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import click

from measure.terminal.option_record import defaults_from, options_from


@dataclass(frozen=True, kw_only=True, slots=True)
class LogShowOptions:
    """Which take of which logbook."""

    folder: Path = Path()
    name: str


@defaults_from(LogShowOptions)
@click.command("show")
@click.argument("name")
@click.pass_obj
def command(folder: Path, /, **given: object) -> None:
    """Show a take: what is known, and what was said of it."""
    run(options_from(LogShowOptions, given | {"folder": folder}))


def run(options: LogShowOptions) -> None:
    """Print what is known of the take."""
    from analysis.report.take import arrival_cell
    from measure.logbook.folder import open_logbook
    from measure.logbook.remarks import read_remarks, take_path
    from measure.logbook.take_index import read_line

    take = take_path(open_logbook(options.folder), options.name)
    line, said = read_line(take), read_remarks(take)
    click.echo(f"{line.name}  ({take})")
    for label, text in (("Pair", line.pair), ("Room", line.room), ("Place", line.place)):
        if text:
            click.echo(f"  {label}: {text}")
    click.echo(f"  Started: {line.started:%Y-%m-%d %H:%M}")
    if line.interrupted:
        click.echo(f"  Interrupted: {line.interrupted}")
    if line.simulated:
        click.echo("  Made in the simulated room: invented")
    arrival = arrival_cell(line.arrival_mm, line.arrival_std_mm, is_read=line.usable is not None)
    click.echo(f"  Left \N{MINUS SIGN} right: {arrival}")
    if said.tags:
        click.echo(f"  Tags: {', '.join(said.tags)}")
    for one in said.remarks:
        click.echo(f"  {one.written:%Y-%m-%d %H:%M}  {one.text}")
    for photograph in said.photographs:
        click.echo(f"  {photograph}")
    click.echo("  `apexline report` writes its page.")
