"""``apexline log import``: a take made from a recording that came from elsewhere."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import click

from measure.takes.conditions import surrounding_options

FILE = click.Path(path_type=Path)


@click.command("import")
@click.argument("recording", type=FILE)
@click.option("--sweep", type=FILE, required=True, help="The sweep that was played, or its sheet.")
@click.option("--name", required=True, help="What the take is called.")
@click.option("--made", type=click.DateTime(), help="When.  [default: the file's own time]")
@click.option("--pair", help="Which loudspeakers.")
@click.option("--room", help="Which room.")
@click.option("--place", help="Where they stood.")
@surrounding_options
@click.pass_obj
def command(
    folder: Path, /, recording: Path, sweep: Path, made: datetime | None, **asked: Any
) -> None:
    """Make a take from a RECORDING (WAV, FLAC, ...) of a sweep that was made elsewhere."""
    from measure.commands.log_moves import answer_in
    from measure.logbook.exchange.imported import import_recording
    from measure.logbook.folder import open_logbook
    from measure.takes.conditions import surroundings
    from measure.takes.description import Labels

    labels = Labels(**{name: asked.pop(name) for name in ("name", "pair", "room", "place")})
    around = surroundings(None, **asked)
    taken = import_recording(
        open_logbook(folder), recording, sweep, labels=labels, made=made, around=around
    )
    click.echo(f"Kept in {taken}")
    answer = answer_in(folder, labels.name)
    if answer is not None:
        click.echo(answer)
