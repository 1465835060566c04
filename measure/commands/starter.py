"""``apexline starter``: write a commented room file to fill in."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("starter")
@click.argument("out", type=click.Path(path_type=Path), metavar="OUT.toml")
@click.option("--force", is_flag=True, help="Replace an existing file.")
def command(out: Path, force: bool) -> None:
    """Write a room file to OUT.toml, with invented figures to replace by your own."""
    from importlib import resources

    from measure.files.output import check_writable, refuse_existing, text_writer, write_whole

    check_writable(str(out))
    refuse_existing(out, force=force)
    text = resources.files("measure").joinpath("data/room.toml").read_text(encoding="utf-8")
    write_whole(out, text_writer(text))
    click.echo(f"Wrote {out}: replace its figures by your room's, then give it with --room.")
