"""Verbs called with a record instead of words. Truth: click's own parsing of no words at all."""

from __future__ import annotations

import dataclasses
import importlib
from pathlib import Path

import click
import pytest

from measure import cli
from measure.commands import log, log_add, starter
from measure.files.room_file import read_room
from measure.terminal.option_record import flat_defaults

VERBS = {name: importlib.import_module(f"measure.commands.{name}") for name in cli.COMMANDS}
RECORDS = {
    (name,): (module.command, getattr(module, f"{name.capitalize()}Options"))
    for name, module in VERBS.items()
}
PARTS = [name for name in type(log.command).LATER if name != "add"]
"""Of log; `log add` has parts itself."""


def part_of_log(name: str) -> tuple[click.Command, type]:
    """Return the command and the record in the file of a part of log."""
    module = importlib.import_module(type(log.command).LATER[name])
    words = "".join(word.capitalize() for word in name.split("-"))
    return module.command, getattr(module, f"Log{words}Options")


RECORDS |= {("log", name): part_of_log(name) for name in PARTS}
RECORDS |= {
    ("log", "add", kind): (one, getattr(log_add, f"LogAdd{kind.capitalize()}Options"))
    for kind, one in log_add.command.commands.items()
}


def test_every_part_of_log_has_its_own_file() -> None:
    files = {path.stem for path in Path(log.__file__).parent.glob("log_*.py")}
    assert files == {f"log_{name.replace('-', '_')}" for name in type(log.command).LATER}


@pytest.mark.parametrize("words", RECORDS, ids=" ".join)
def test_a_record_of_defaults_is_what_click_makes_of_no_words(words: tuple[str, ...]) -> None:
    # Second method: click's own context of the least that must be said.
    command, record = RECORDS[words]
    expected = dict(flat_defaults(record))
    needed = {one.name for one in command.params if one.required}
    assert needed == {name for name, one in expected.items() if one is dataclasses.MISSING}
    least = [
        word
        for one in command.params
        if one.required
        for word in ([one.opts[0], "x"] if one.opts[0].startswith("-") else ["x"])
    ]
    parsed = command.make_context(words[-1], least).params
    # The parts of log are given its folder by the group.
    given = {"folder": expected["folder"]} if "folder" in set(expected) - set(parsed) else {}
    assert {name: parsed.get(name, given.get(name)) for name in set(expected) - needed} == {
        name: one for name, one in expected.items() if name not in needed
    }
    assert set(parsed) | set(given) == set(expected)


def test_a_verb_runs_from_a_record(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # Second method: the same by words.
    one, other = tmp_path / "one.toml", tmp_path / "other.toml"
    starter.run(starter.StarterOptions(out=one))
    assert cli.run(["starter", str(other)]) == 0
    assert one.read_bytes() == other.read_bytes()
    assert read_room(one).room.is_box
    said = capsys.readouterr().out
    assert said.count("replace its figures by your room's") == 2
