"""``apexline log say``: tags, remarks and photographs of a take."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import click

from measure.commands.options import FILE
from measure.terminal.option_record import defaults_from, options_from


@dataclass(frozen=True, kw_only=True, slots=True)
class LogSayOptions:
    """What is said of which take."""

    folder: Path = Path()
    name: str
    tags: tuple[str, ...] = ()
    untags: tuple[str, ...] = ()
    texts: tuple[str, ...] = ()
    photographs: tuple[Path, ...] = ()


@defaults_from(LogSayOptions)
@click.command("say")
@click.argument("name")
@click.option("--tag", "tags", multiple=True, help="Add a tag.")
@click.option("--untag", "untags", multiple=True, help="Take a tag away.")
@click.option("--remark", "texts", multiple=True, help="Add a remark.")
@click.option("--photograph", "photographs", type=FILE, multiple=True, help="Keep a photograph.")
@click.pass_obj
def command(folder: Path, /, **given: object) -> None:
    """Say more of a take: tags, remarks, photographs."""
    run(options_from(LogSayOptions, given | {"folder": folder}))


def run(options: LogSayOptions) -> None:
    """Add and drop what was given, and print what there is now."""
    from measure.logbook.folder import open_logbook
    from measure.logbook.names import decode_name
    from measure.logbook.remarks import add_remarks, take_path

    logbook = open_logbook(options.folder)
    said = add_remarks(
        logbook,
        take_path(logbook, options.name),
        add_tags=[decode_name(tag) for tag in options.tags],
        drop_tags=[decode_name(tag) for tag in options.untags],
        texts=[decode_name(text) for text in options.texts],
        photographs=options.photographs,
    )
    click.echo(f"Tags: {', '.join(said.tags) or 'none'}; {len(said.remarks)} remark(s)")
