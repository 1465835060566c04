"""``apexline starter``: write a commented room file to fill in."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import click

from measure.commands.options import FILE
from measure.terminal.option_record import defaults_from, options_from


@dataclass(frozen=True, kw_only=True, slots=True)
class StarterOptions:
    """Where the room file is written, and whether it may replace one."""

    out: Path
    force: bool = False


@defaults_from(StarterOptions)
@click.command("starter")
@click.argument("out", type=FILE, metavar="OUT.toml")
@click.option("--force", is_flag=True, help="Replace an existing file.")
def command(**given: object) -> None:
    """Write a room file to OUT.toml, with invented figures to replace by your own."""
    run(options_from(StarterOptions, given))


def run(options: StarterOptions) -> None:
    """Write the room file, and say what to do with it."""
    from importlib import resources

    from measure.files.output import check_writable, refuse_existing, text_writer, write_whole

    out = options.out
    check_writable(str(out))
    refuse_existing(out, force=options.force)
    text = resources.files("measure").joinpath("data/room.toml").read_text(encoding="utf-8")
    write_whole(out, text_writer(text))
    click.echo(f"Wrote {out}: replace its figures by your room's, then give it with --room.")
