"""Older schemas: read as they are, and led to the newest in a new folder.

Truth: known input, the folder ``frozen/logbook-1``, written by the program of schema 1 and
never changed since.
"""

from __future__ import annotations

import tomllib
from copy import deepcopy
from pathlib import Path

import pytest

from measure import cli
from measure.errors import LogbookError
from measure.files.migration import STEPS, take_2
from measure.logbook.folder import open_logbook
from measure.logbook.renewed import renew_logbook
from measure.logbook.take_index import list_takes
from measure.logbook.verify import verify
from measure.takes.facts import SCHEMA
from measure.takes.stored import read_take, take_microphone

FROZEN = Path(__file__).parent / "frozen" / "logbook-1"
OLD = open_logbook(FROZEN)


def content(folder: Path) -> dict[str, bytes]:
    """Return every file of a folder by its name inside it."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("APEXLINE_HOME", str(tmp_path / "home"))


def test_a_logbook_of_the_first_schema_is_read_and_stays_as_it_is() -> None:
    before = content(FROZEN)
    assert tomllib.loads(before["takes/without/take.toml"].decode())["schema"] == 1
    assert {one.verdict for one in verify(OLD)} == {"whole"}
    listed = list_takes(OLD)
    assert [one.name for one in listed.takes] == ["with microphone", "without"]
    assert listed.takes[0].tags == ("best",)
    take = read_take(FROZEN / "takes" / "with microphone")
    assert take.facts.microphone is not None
    assert take.facts.microphone.correction_file == "omni.txt"
    # Only the name was kept: no correction is made up.
    assert take.facts.microphone.file_is is None
    assert take_microphone(take) is None
    assert content(FROZEN) == before


def test_a_step_makes_a_new_content_and_leaves_the_old() -> None:
    # Invariant.
    for step in STEPS.values():
        old = {"schema": 1, "microphone": {"correction_file": "omni.txt"}}
        kept = deepcopy(old)
        new = step(old)
        assert new is not old
        assert old == kept
    assert take_2({"schema": 1, "made_by": "x"}) == {"schema": 1, "made_by": "x"}


def test_it_is_led_to_the_newest_schema_in_a_new_folder(tmp_path: Path) -> None:
    before = content(FROZEN)
    assert cli.run(["log", "--log", str(FROZEN), "renew", str(tmp_path / "new")]) == 0
    assert content(FROZEN) == before
    after = content(tmp_path / "new")
    assert after.keys() == before.keys()
    changed = {name for name, raw in before.items() if after[name] != raw}
    assert changed == {f"takes/{name}/take.toml" for name in ("with microphone", "without")}
    new = open_logbook(tmp_path / "new")
    assert {one.verdict for one in verify(new)} == {"whole"}
    assert list_takes(new) == list_takes(OLD)
    for name in changed:
        old_table, new_table = (tomllib.loads(one[name].decode()) for one in (before, after))
        assert new_table == old_table | {"schema": SCHEMA}
    # Once more changes nothing.
    assert renew_logbook(new, tmp_path / "again") == (0, ())
    assert content(tmp_path / "again") == after


def test_it_never_writes_into_what_is_there(tmp_path: Path) -> None:
    (tmp_path / "new").mkdir()
    for target in (tmp_path / "new", FROZEN / "within"):
        with pytest.raises(LogbookError, match="new folder"):
            renew_logbook(OLD, target)
    assert list((tmp_path / "new").iterdir()) == []


def test_a_damaged_take_is_named_and_copied_as_it_is(tmp_path: Path) -> None:
    # Known input: facts cut off.
    renew_logbook(OLD, tmp_path / "one")
    facts = tmp_path / "one" / "takes" / "without" / "take.toml"
    facts.write_bytes(facts.read_bytes()[:300])
    n_renewed, (problem,) = renew_logbook(open_logbook(tmp_path / "one"), tmp_path / "two")
    assert n_renewed == 0
    assert "without" in problem
    assert content(tmp_path / "two") == content(tmp_path / "one")
