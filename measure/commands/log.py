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
        "compare": "measure.commands.log_compare",
        "finish": "measure.commands.log_finish",
        "import": "measure.commands.log_import",
        "put-back": "measure.commands.log_put_back",
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
    from analysis.report import format as fmt

    arrival = "no reading" if take.usable is None else "withheld"
    if take.arrival_mm is not None:
        std_m = None if take.arrival_std_mm is None else take.arrival_std_mm * 1e-3
        arrival = fmt.mm(take.arrival_mm * 1e-3, std_m, sign=True)
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
        arrival,
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


@command.command("new")
@click.argument("target", type=FILE, metavar="DIR")
def new(target: Path) -> None:
    """Make DIR a logbook; what it holds stays as it is."""
    from measure.logbook.folder import new_logbook

    logbook = new_logbook(target)
    click.echo(f"{logbook.path} is a logbook now: `take` and `nudge` with --log file into it.")


@command.command("show")
@click.argument("name")
@click.pass_obj
def show(folder: Path, name: str) -> None:
    """Show a take: what is known, and what was said of it."""
    from measure.logbook.folder import open_logbook
    from measure.logbook.remarks import read_remarks, take_path
    from measure.logbook.take_index import read_line

    take = take_path(open_logbook(folder), name)
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
    click.echo(f"  Left \N{MINUS SIGN} right: {_row(line)[4]}")
    if said.tags:
        click.echo(f"  Tags: {', '.join(said.tags)}")
    for one in said.remarks:
        click.echo(f"  {one.written:%Y-%m-%d %H:%M}  {one.text}")
    for photograph in said.photographs:
        click.echo(f"  {photograph}")
    click.echo("  `apexline report` writes its page.")


@command.command("say")
@click.argument("name")
@click.option("--tag", "tags", multiple=True, help="Add a tag.")
@click.option("--untag", "untags", multiple=True, help="Take a tag away.")
@click.option("--remark", "texts", multiple=True, help="Add a remark.")
@click.option("--photograph", "photographs", type=FILE, multiple=True, help="Keep a photograph.")
@click.pass_obj
def say(
    folder: Path,
    name: str,
    tags: tuple[str, ...],
    untags: tuple[str, ...],
    texts: tuple[str, ...],
    photographs: tuple[Path, ...],
) -> None:
    """Say more of a take: tags, remarks, photographs."""
    from measure.logbook.folder import open_logbook
    from measure.logbook.names import decode_name
    from measure.logbook.remarks import add_remarks, take_path

    logbook = open_logbook(folder)
    said = add_remarks(
        logbook,
        take_path(logbook, name),
        add_tags=[decode_name(tag) for tag in tags],
        drop_tags=[decode_name(tag) for tag in untags],
        texts=[decode_name(text) for text in texts],
        photographs=photographs,
    )
    click.echo(f"Tags: {', '.join(said.tags) or 'none'}; {len(said.remarks)} remark(s)")


@command.command("discard", short_help="Move a take to the logbook's bin; nothing is deleted.")
@click.argument("name")
@click.pass_obj
def discard(folder: Path, name: str) -> None:
    """Move a take, complete or interrupted, to the logbook's bin; nothing is deleted."""
    from measure.logbook.bin_folder import throw_away
    from measure.logbook.folder import open_logbook

    logbook = open_logbook(folder)
    there = throw_away(logbook, _path_of_any(logbook, name))
    click.echo(f"Moved to {there}; `apexline log restore` brings it back.")


def _path_of_any(logbook: Logbook, name: str) -> Path:
    """Return the folder of a complete take of that name, else of an interrupted one."""
    from measure.errors import LogbookError, TakeError
    from measure.logbook.remarks import take_path
    from measure.takes.interrupted import interrupted_path, refuse_in_use

    try:
        return take_path(logbook, name)
    except LogbookError:
        try:
            path = interrupted_path(logbook.takes, name)
        except TakeError:
            path = None
        if path is None:
            raise
    refuse_in_use(path)
    return path


@command.command("restore")
@click.argument("path", type=FILE, required=False)
@click.pass_obj
def restore(folder: Path, path: Path | None) -> None:
    """List the bin, or bring back what stands at PATH in it."""
    from measure.logbook.bin_folder import bin_entries
    from measure.logbook.bin_folder import put_back as bring_back
    from measure.logbook.folder import open_logbook

    logbook = open_logbook(folder)
    if path is not None:
        click.echo(f"Back at {bring_back(logbook, path)}")
        return
    found = bin_entries(logbook)
    for one in found:
        click.echo(one)
    if not found:
        click.echo("The bin is empty.")


@command.command("adopt")
@click.argument("takes", type=FILE, nargs=-1, required=True)
@click.pass_obj
def adopt(folder: Path, takes: tuple[Path, ...]) -> None:
    """Copy complete TAKES from elsewhere into the logbook, as they are."""
    from measure.logbook.exchange.archive import adopt_take
    from measure.logbook.folder import open_logbook

    logbook = open_logbook(folder)
    for take in takes:
        click.echo(f"Kept in {adopt_take(logbook, take)}")


@command.command("archive")
@click.argument("target", type=FILE, metavar="FILE.zip")
@click.pass_obj
def archive(folder: Path, target: Path) -> None:
    """Write the whole logbook, without its bin, as one archive."""
    from measure.logbook.exchange.archive import write_archive
    from measure.logbook.folder import open_logbook

    click.echo(f"Wrote {write_archive(open_logbook(folder), target)} files into {target}")


@command.command("unpack")
@click.argument("source", type=FILE, metavar="FILE.zip")
@click.argument("target", type=FILE, metavar="DIR")
def unpack(source: Path, target: Path) -> None:
    """Unpack an archive into a new folder DIR."""
    from measure.logbook.exchange.archive import read_archive

    click.echo(f"Unpacked {read_archive(source, target)} files into {target}")


@command.command("export")
@click.argument("name")
@click.option("--curves", type=FILE, metavar="FILE.csv", help="The bass curves.")
@click.option("--responses", type=FILE, metavar="FILE.wav", help="The impulse responses.")
@click.option("--sofa", type=FILE, metavar="FILE.sofa", help="The same as AES69; needs sofar.")
@click.pass_obj
def export(
    folder: Path, name: str, curves: Path | None, responses: Path | None, sofa: Path | None
) -> None:
    """Write curves or impulse responses of the take NAME for other programs."""
    from measure.logbook.exchange import exported
    from measure.logbook.folder import open_logbook
    from measure.logbook.remarks import take_path

    logbook = open_logbook(folder)
    take = take_path(logbook, name)
    if curves is None and responses is None and sofa is None:
        msg = "say what to write: --curves, --responses or --sofa"
        raise click.UsageError(msg)
    if curves is not None:
        exported.write_curves(take, curves)
        click.echo(f"Wrote {curves}")
    if responses is not None:
        exported.write_responses(take, responses)
        click.echo(f"Wrote {responses}")
    if sofa is not None:
        unknown = exported.write_sofa(logbook, take, sofa)
        click.echo(f"Wrote {sofa}" + (f"\n{unknown}" if unknown else ""))
