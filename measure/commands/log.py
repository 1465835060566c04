"""``apexline log``: what the logbook keeps, found, said more of, checked, passed on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

import click

from measure.commands.options import FILE
from measure.terminal.option_record import defaults_from, options_from

if TYPE_CHECKING:
    from measure.logbook.folder import Logbook
    from measure.logbook.take_index import Listed, TakeLine

DAY = click.DateTime(["%Y-%m-%d"])


class _Group(click.Group):
    """A group of which some commands are imported only when they are called."""

    LATER: ClassVar = {
        "add": "measure.commands.log_add",
        "adopt": "measure.commands.log_adopt",
        "archive": "measure.commands.log_archive",
        "compare": "measure.commands.log_compare",
        "discard": "measure.commands.log_discard",
        "export": "measure.commands.log_export",
        "finish": "measure.commands.log_finish",
        "import": "measure.commands.log_import",
        "new": "measure.commands.log_new",
        "put-back": "measure.commands.log_put_back",
        "restore": "measure.commands.log_restore",
        "say": "measure.commands.log_say",
        "show": "measure.commands.log_show",
        "unpack": "measure.commands.log_unpack",
    }

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in the order of the alphabet."""
        return sorted({*super().list_commands(ctx), *self.LATER})

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return a command."""
        if cmd_name not in self.LATER:
            return super().get_command(ctx, cmd_name)
        found: click.Command = import_module(self.LATER[cmd_name]).command
        return found


@dataclass(frozen=True, kw_only=True, slots=True)
class LogOptions:
    """Which logbook, and which of its takes are listed; or whether it is checked."""

    folder: Path = Path()
    pair: str | None = None
    room: str | None = None
    place: str | None = None
    since: datetime | None = None
    until: datetime | None = None
    tags: tuple[str, ...] = ()
    words: str | None = None
    check: bool = False
    json_target: str | None = None


@defaults_from(LogOptions)
@click.group("log", cls=_Group, invoke_without_command=True, short_help="The logbook.")
@click.option("--log", "folder", type=FILE, help="The logbook.  [default: here]")
@click.option("--pair", help="Takes of this pair only.")
@click.option("--room", help="Takes in this room only.")
@click.option("--place", help="Takes at this place only.")
@click.option("--since", type=DAY, help="From this day on, as 2026-03-01.")
@click.option("--until", type=DAY, help="Up to this day.")
@click.option("--tag", "tags", multiple=True, help="Takes with this tag; all of them if several.")
@click.option("--find", "words", help="Takes whose names, tags and remarks hold all these words.")
@click.option("--verify", "check", is_flag=True, help="Read everything, and say what is damaged.")
@click.option("--json", "json_target", metavar="FILE", help="Write the list as JSON; - to print.")
@click.pass_context
def command(context: click.Context, /, **given: object) -> None:
    """List the takes of a logbook, or do more with one of the commands below."""
    options = options_from(LogOptions, given)
    context.obj = options.folder
    if context.invoked_subcommand is None:
        run(options)


def run(options: LogOptions) -> None:
    """List the takes that are wanted, or check everything.

    Raises
    ------
    click.exceptions.Exit
        With status 2, if something is damaged.
    """
    from measure.files.output import check_json_target
    from measure.logbook.folder import open_logbook

    check_json_target(options.json_target)
    logbook = open_logbook(options.folder)
    if options.check:
        raise click.exceptions.Exit(_verify(logbook))
    _list(logbook, options)


def _list(logbook: Logbook, options: LogOptions) -> None:
    """Print the takes that are wanted."""
    from measure.logbook.selection import Selection, select_takes
    from measure.logbook.take_index import list_takes

    listed = list_takes(logbook, tell=lambda text: click.echo(f"{text} ...", err=True))
    wanted = Selection(
        pair=options.pair,
        room=options.room,
        place=options.place,
        since=options.since and options.since.date(),
        until=options.until and options.until.date(),
        tags=options.tags,
        words=tuple((options.words or "").split()),
    )
    takes = select_takes(listed.takes, wanted)
    if options.json_target is not None:
        import msgspec

        from measure.files.output import write_json

        document = {"schema": 1, "command": "log", "takes": msgspec.to_builtins(takes)}
        write_json(document, options.json_target)
    if options.json_target != "-":
        _print(takes, listed)


def _print(takes: list[TakeLine], listed: Listed) -> None:
    """Print a list, then what isn't whole."""
    from analysis.report.format import table

    if takes:
        rows = [("when", "take", "pair", "place", "left \N{MINUS SIGN} right", "tags")]
        rows += [_row(take) for take in takes]
        click.echo("\n".join(table(rows)))
    click.echo(f"{len(takes)} of {len(listed.takes)} takes")
    for name, reason in listed.unfinished:
        click.echo(f"Unfinished: {name} ({reason})")
    if listed.unfinished:
        click.echo("`apexline log finish NAME` completes one, `apexline log discard NAME` bins it.")
    for problem in listed.problems:
        click.echo(f"Damaged: {problem}", err=True)


def _row(take: TakeLine) -> tuple[str, str, str, str, str, str]:
    """Return a take as cells."""
    from analysis.report.take import arrival_cell

    marks = [
        *take.tags,
        *(["simulated"] if take.simulated else []),
        *(["interrupted"] if take.interrupted else []),
    ]
    return (
        f"{take.started:%Y-%m-%d %H:%M}",
        _short(take.name, 28),
        _short(take.pair or "", 16),
        _short(take.place or take.room or "", 16),
        arrival_cell(take.arrival_mm, take.arrival_std_mm, is_read=take.usable is not None),
        ", ".join(marks),
    )


def _short(text: str, n: int) -> str:
    """Return a text on one line, cut to a length."""
    text = " ".join(text.split())
    return text if len(text) <= n else text[: n - 1] + "…"


def _verify(logbook: Logbook) -> int:
    """Check everything, and return the exit status."""
    from measure.logbook.verify import verify
    from measure.terminal.progress_line import show_progress

    counts = {"whole": 0, "unfinished": 0, "damaged": 0}
    n_bytes = 0
    with show_progress("Reading every file of the logbook"):
        findings = list(verify(logbook))
    for one in findings:
        counts[one.verdict] += 1
        n_bytes += one.n_bytes
        if one.verdict != "whole":
            where = one.path.relative_to(logbook.path)
            click.echo(f"{one.verdict.capitalize()}: {where}: {one.text}")
    click.echo(
        f"{counts['whole']} whole, {counts['unfinished']} unfinished, {counts['damaged']} "
        f"damaged; {n_bytes / 1e6:.1f} MB read"
    )
    return 2 if counts["damaged"] else 0
