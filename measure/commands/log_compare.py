"""``apexline log compare``: groups of takes, before and after, or two pairs side by side."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from analysis.compare import Snapshot
    from measure.logbook.folder import Logbook


@click.command("compare", short_help="Compare groups of takes.")
@click.option("--before", multiple=True, required=True, help="A take of the first group; repeat.")
@click.option("--after", multiple=True, required=True, help="A take of the second; repeat.")
@click.option("--pairs", is_flag=True, help="Two pairs, matched in level from 500 to 2000 Hz.")
@click.pass_obj
def command(folder: Path, before: tuple[str, ...], after: tuple[str, ...], pairs: bool) -> None:
    """Compare two groups of takes: what differs, and whether it is more than chance.

    Repeats of one placement make a group; their spread says what chance does.
    """
    from analysis.group_compare import compare_groups
    from analysis.report.group_compare import group_lines
    from measure.errors import LogbookError
    from measure.logbook.folder import open_logbook

    logbook = open_logbook(folder)
    groups = [[read_group_take(logbook, name) for name in names] for names in (before, after)]
    try:
        found = compare_groups(*groups, matching="pair" if pairs else "own")
    except ValueError as problem:
        msg = f"these takes can't be compared: {problem}"
        raise LogbookError(msg) from problem
    for line in group_lines(found, names=(before[0], after[0])):
        click.echo(line)


def read_group_take(logbook: Logbook, name: str) -> Snapshot:
    """Return what of a take is compared."""
    from measure.logbook.remarks import take_path
    from measure.snapshot_file import read_snapshot
    from measure.take_folder import READING

    return read_snapshot(take_path(logbook, name) / READING)
