"""``apexline log compare``: groups of takes, before and after, or two pairs side by side."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import click

from measure.terminal.option_record import defaults_from, options_from


@dataclass(frozen=True, kw_only=True, slots=True)
class LogCompareOptions:
    """Which takes of a logbook make the two groups."""

    folder: Path = Path()
    before: tuple[str, ...]
    after: tuple[str, ...]
    pairs: bool = False


@defaults_from(LogCompareOptions)
@click.command("compare", short_help="Compare groups of takes.")
@click.option("--before", multiple=True, required=True, help="A take of the first group; repeat.")
@click.option("--after", multiple=True, required=True, help="A take of the second; repeat.")
@click.option("--pairs", is_flag=True, help="Two pairs, matched in level from 500 to 2000 Hz.")
@click.pass_obj
def command(folder: Path, /, **given: object) -> None:
    """Compare two groups of takes: what differs, and whether it is more than chance.

    Repeats of one placement make a group; their spread says what chance does.
    """
    run(options_from(LogCompareOptions, given | {"folder": folder}))


def run(options: LogCompareOptions) -> None:
    """Say what differs between two groups."""
    from analysis.report.comparison.groups import group_lines
    from measure.logbook.compared_takes import compare_takes
    from measure.logbook.folder import open_logbook

    before, after = options.before, options.after
    found = compare_takes(open_logbook(options.folder), before, after, pairs=options.pairs)
    for line in group_lines(found, names=(before[0], after[0])):
        click.echo(line)
