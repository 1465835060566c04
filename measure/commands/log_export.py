"""``apexline log export``: curves and responses for other programs."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import click

from measure.commands.options import FILE
from measure.terminal.option_record import defaults_from, options_from


@dataclass(frozen=True, kw_only=True, slots=True)
class LogExportOptions:
    """What of which take is written for other programs."""

    folder: Path = Path()
    name: str
    curves: Path | None = None
    responses: Path | None = None
    sofa: Path | None = None


@defaults_from(LogExportOptions)
@click.command("export")
@click.argument("name")
@click.option("--curves", type=FILE, metavar="FILE.csv", help="The bass curves.")
@click.option("--responses", type=FILE, metavar="FILE.wav", help="The impulse responses.")
@click.option("--sofa", type=FILE, metavar="FILE.sofa", help="The same as AES69; needs sofar.")
@click.pass_obj
def command(folder: Path, /, **given: object) -> None:
    """Write curves or impulse responses of the take NAME for other programs."""
    run(options_from(LogExportOptions, given | {"folder": folder}))


def run(options: LogExportOptions) -> None:
    """Write each file that was asked for."""
    from measure.logbook.exchange import exported
    from measure.logbook.folder import open_logbook
    from measure.logbook.remarks import take_path

    logbook = open_logbook(options.folder)
    take = take_path(logbook, options.name)
    if options.curves is None and options.responses is None and options.sofa is None:
        msg = "say what to write: --curves, --responses or --sofa"
        raise click.UsageError(msg)
    if options.curves is not None:
        exported.write_curves(take, options.curves)
        click.echo(f"Wrote {options.curves}")
    if options.responses is not None:
        exported.write_responses(take, options.responses)
        click.echo(f"Wrote {options.responses}")
    if options.sofa is not None:
        unknown = exported.write_sofa(logbook, take, options.sofa)
        click.echo(f"Wrote {options.sofa}" + (f"\n{unknown}" if unknown else ""))
