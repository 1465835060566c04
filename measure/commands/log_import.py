"""``apexline log import``: a take made from a recording that came from elsewhere."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import click

from measure.commands.options import FILE
from measure.commands.options.conditions import (
    ConditionOptions,
    condition_options,
    read_conditions,
)
from measure.terminal.option_record import defaults_from, options_from


@dataclass(frozen=True, kw_only=True, slots=True)
class LogImportOptions:
    """Which recording becomes which take, and what is known around it."""

    folder: Path = Path()
    recording: Path
    sweep: Path
    name: str
    made: datetime | None = None
    pair: str | None = None
    room: str | None = None
    place: str | None = None
    conditions: ConditionOptions = field(default_factory=ConditionOptions)


@defaults_from(LogImportOptions)
@click.command("import")
@click.argument("recording", type=FILE)
@click.option("--sweep", type=FILE, required=True, help="The sweep that was played, or its sheet.")
@click.option("--name", required=True, help="What the take is called.")
@click.option("--made", type=click.DateTime(), help="When.  [default: the file's own time]")
@click.option("--pair", help="Which loudspeakers.")
@click.option("--room", help="Which room.")
@click.option("--place", help="Where they stood.")
@condition_options
@click.pass_obj
def command(folder: Path, /, **given: object) -> None:
    """Make a take from a RECORDING (WAV, FLAC, ...) of a sweep that was made elsewhere."""
    run(options_from(LogImportOptions, given | {"folder": folder}))


def run(options: LogImportOptions) -> None:
    """Make the take, and say where it is and which move it answers."""
    from analysis.report.comparison.move_promise import answer_text
    from measure.logbook.entries.moves import answer_move_in
    from measure.logbook.exchange.imported import import_recording
    from measure.logbook.folder import open_logbook
    from measure.takes.description import Labels

    labels = Labels(name=options.name, pair=options.pair, room=options.room, place=options.place)
    around = read_conditions(None, options.conditions)
    taken = import_recording(
        open_logbook(options.folder),
        options.recording,
        options.sweep,
        labels=labels,
        made=options.made,
        around=around,
    )
    click.echo(f"Kept in {taken}")
    answer = answer_move_in(options.folder, options.name)
    if answer is not None:
        click.echo(answer_text(answer))
