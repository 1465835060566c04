"""``apexline compare``: what changed between two readings."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

import click

from measure.commands.options import FILE
from measure.terminal.option_record import defaults_from, options_from
from measure.terminal.printed_lines import list_written, print_lines

Moved = Literal["left", "right", "both", "none", "seat", "unknown"]


@dataclass(frozen=True, kw_only=True, slots=True)
class CompareOptions:
    """Which two readings, what was moved between them, and what is written."""

    before: Path
    after: Path
    moved: Moved = "unknown"
    json_target: str | None = None
    figures: Path | None = None


@defaults_from(CompareOptions)
@click.command("compare", short_help="Compare two readings.")
@click.argument("before", type=FILE)
@click.argument("after", type=FILE)
@click.option(
    "--moved",
    type=click.Choice(get_args(Moved)),
    help="What was moved in between, if you know.  [default: told from the sound]",
)
@click.option("--json", "json_target", metavar="FILE", help="Write it as JSON; - to print.")
@click.option("--figures", type=FILE, help="Draw before and after into this folder.")
def command(**given: object) -> None:
    """Compare BEFORE with AFTER: the folders of two takes, or two readings saved as JSON.

    Says what changed in arrival, level and bass, and whether it is more than chance.
    """
    run(options_from(CompareOptions, given))


def run(options: CompareOptions) -> None:
    """Say what changed between two readings, and write what was asked for."""
    from analysis.comparison.compare import compare
    from analysis.report.comparison.compare import comparison_lines
    from measure.errors import ReadingFileError
    from measure.files.output import check_json_target, write_json
    from measure.files.readings.comparison_document import comparison_document
    from measure.files.readings.snapshot import read_snapshot

    check_json_target(options.json_target)
    before, after = (_reading(path) for path in (options.before, options.after))
    snapshots = read_snapshot(before), read_snapshot(after)
    try:
        comparison = compare(*snapshots, moved=options.moved)
    except ValueError as problem:
        msg = f"{before} and {after} can't be compared: {problem}"
        raise ReadingFileError(msg) from problem
    written: list[Path] = []
    if options.figures is not None:
        from analysis.plots.comparison import comparison_figure
        from measure.files.figures import write_figures

        written = write_figures({"comparison": comparison_figure(comparison)}, options.figures)
    if options.json_target is not None:
        write_json(comparison_document(comparison, before=before, after=after), options.json_target)
    lines = [*comparison_lines(comparison), *list_written(written)]
    print_lines(lines, to_error=options.json_target == "-")


def _reading(path: Path) -> Path:
    """Return the reading that a path names: itself, or the one in the folder of a take."""
    from measure.errors import ReadingFileError
    from measure.takes.names import READING

    if not path.is_dir():
        return path
    if not (path / READING).is_file():
        msg = f'there is no {READING} in the folder "{path}": give the folder of a finished take, '
        msg += "or a file that `apexline read --json` wrote"
        raise ReadingFileError(msg)
    return path / READING
