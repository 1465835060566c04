"""Files of other schemas: led to the newest by steps, or refused in one sentence.

Truth: a made-up history of three schemas, whose contents are written out here.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import msgspec
import pytest

from measure.errors import LogbookError, ReadingFileError
from measure.files.migration import STEPS, another_schema, migrate_content, read_versioned
from measure.files.readings.document import load_document


class Newest(msgspec.Struct):
    """The third schema."""

    schema: int
    name: str
    height_m: float
    note: str | None = None


def call_it_name(content: Mapping[str, Any]) -> dict[str, Any]:
    """Return schema 2: `label` is called `name`."""
    return {key: value for key, value in content.items() if key != "label"} | {
        "name": content["label"]
    }


def take_metres(content: Mapping[str, Any]) -> dict[str, Any]:
    """Return schema 3: the height is in metres."""
    rest = {key: value for key, value in content.items() if key != "height_cm"}
    return rest | {"height_m": content["height_cm"] / 100}


MADE_UP = {("thing", 1): call_it_name, ("thing", 2): take_metres}
OLDEST = 'schema = 1\nlabel = "a"\nheight_cm = 250.0\n'


def read(path: Path, newest: int = 3, kind: str = "thing") -> Newest:
    return read_versioned(path, Newest, kind=kind, newest=newest, steps=MADE_UP)


@pytest.fixture
def thing(tmp_path: Path) -> Path:
    path = tmp_path / "thing.toml"
    path.write_text(OLDEST, encoding="utf-8")
    return path


def test_an_older_content_is_led_step_by_step_and_stays_as_it_is() -> None:
    old = {"schema": 1, "label": "a", "height_cm": 250.0}
    new = migrate_content(old, kind="thing", newest=3, steps=MADE_UP)
    assert new == {"schema": 3, "name": "a", "height_m": 2.5}
    assert old == {"schema": 1, "label": "a", "height_cm": 250.0}


def test_an_older_file_is_read_and_stays_as_it_is(thing: Path) -> None:
    assert read(thing) == Newest(3, "a", 2.5)
    assert thing.read_text("utf-8") == OLDEST


def test_a_file_of_the_newest_schema_needs_no_step(thing: Path) -> None:
    thing.write_text('schema = 3\nname = "a"\nheight_m = 2.5\n', encoding="utf-8")
    assert read(thing, kind="without steps") == Newest(3, "a", 2.5)


@pytest.mark.parametrize(
    ("newest", "kind"), [(0, "thing"), (4, "thing"), (3, "without steps")], ids=str
)
def test_where_no_steps_lead_the_file_is_refused(thing: Path, newest: int, kind: str) -> None:
    with pytest.raises(LogbookError) as refused:
        read(thing, newest, kind)
    assert str(refused.value) == another_schema(thing, 1, newest)


def test_a_step_that_a_damaged_file_gets_through_is_no_crash(thing: Path) -> None:
    thing.write_text("schema = 1\nlabel = 7\nheight_cm = 250.0\n", encoding="utf-8")
    with pytest.raises(LogbookError, match=r"of the older schema 1.*mend the file"):
        read(thing)


def test_until_a_release_there_is_no_step() -> None:
    assert STEPS == {}


@pytest.mark.parametrize("found", [0, 2, None])
def test_a_saved_reading_of_another_schema_is_refused(tmp_path: Path, found: int | None) -> None:
    path = tmp_path / "reading.json"
    path.write_bytes(msgspec.json.encode({"command": "read", "schema": found}))
    with pytest.raises(ReadingFileError) as refused:
        load_document(path)
    said = str(refused.value)
    assert said.startswith(f"{path} has schema {found}, but this program reads 1: ")
    assert "make the file again" in said
