"""Files appear whole or not at all, and nothing is destroyed by mistake."""

from __future__ import annotations

import json
import os
import stat
from pathlib import Path

import numpy as np
import pytest

from measure.errors import OutputError
from measure.files.output import (
    check_json_target,
    check_writable,
    json_text,
    plain,
    refuse_existing,
    text_writer,
    write_json,
    write_together,
    write_whole,
)

DOCUMENT = {"schema": 1, "command": "test", "value": 1.5}


def test_a_file_is_replaced_whole(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    write_whole(path, text_writer("one"))
    write_whole(path, text_writer("two"))
    assert path.read_text(encoding="utf-8") == "two"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("stop", [RuntimeError, KeyboardInterrupt])
def test_an_interrupted_write_leaves_what_was_there(
    tmp_path: Path, stop: type[BaseException]
) -> None:
    path = tmp_path / "a.txt"
    path.write_text("old", encoding="utf-8")

    def write(temporary: Path) -> None:
        temporary.write_text("half", encoding="utf-8")
        raise stop

    with pytest.raises(stop):
        write_whole(path, write)
    assert path.read_text(encoding="utf-8") == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_files_that_belong_together_appear_together(tmp_path: Path) -> None:
    # Known input: the second of two fails, so the first doesn't appear either.
    def full(path: Path) -> None:
        raise OSError(28, "No space left on device", str(path))

    with pytest.raises(OutputError, match=r"b\.txt \(No space left"):
        write_together({tmp_path / "a.txt": text_writer("a"), tmp_path / "b.txt": full})
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(os.name != "posix", reason="file modes are of POSIX systems")
def test_files_have_the_rights_of_any_other(tmp_path: Path) -> None:
    # Second method: what the system gives to a file opened in the plain way.
    (tmp_path / "plain").touch()
    write_whole(tmp_path / "a.txt", text_writer("a"))
    mode = stat.S_IMODE((tmp_path / "a.txt").stat().st_mode)
    assert mode == stat.S_IMODE((tmp_path / "plain").stat().st_mode)
    (tmp_path / "a.txt").chmod(0o600)
    write_whole(tmp_path / "a.txt", text_writer("b"))
    assert stat.S_IMODE((tmp_path / "a.txt").stat().st_mode) == 0o600


@pytest.mark.skipif(os.name != "posix", reason="links need rights elsewhere")
def test_a_link_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "real.txt").touch()
    (tmp_path / "link.txt").symlink_to(tmp_path / "real.txt")
    write_whole(tmp_path / "link.txt", text_writer("a"))
    assert (tmp_path / "link.txt").is_symlink()
    assert (tmp_path / "real.txt").read_text(encoding="utf-8") == "a"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes on this system")
def test_a_pipe_is_written_to_and_not_replaced(tmp_path: Path) -> None:
    # As for /dev/null, which the superuser could replace.
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    write_json(DOCUMENT, str(pipe))
    assert json.loads(os.read(reader, 1000)) == DOCUMENT
    os.close(reader)
    assert stat.S_ISFIFO(pipe.stat().st_mode)


def test_places_that_cannot_be_written_are_named_early(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"nowhere doesn't exist"):
        check_writable(str(tmp_path / "nowhere" / "a.json"))
    with pytest.raises(OutputError, match="is a folder"):
        check_writable(str(tmp_path))
    check_writable(None)
    check_writable("-")


def test_a_folder_without_rights_is_named(ordinary_folder: Path) -> None:
    ordinary_folder.chmod(0o500)
    with pytest.raises(OutputError, match=r"can't write .*a\.txt"):
        write_whole(ordinary_folder / "a.txt", text_writer("a"))
    ordinary_folder.chmod(0o700)
    assert list(ordinary_folder.iterdir()) == []


def test_only_force_replaces_a_sweep(tmp_path: Path) -> None:
    (tmp_path / "a.wav").touch()
    with pytest.raises(OutputError, match="--force"):
        refuse_existing(tmp_path / "a.wav", force=False)
    refuse_existing(tmp_path / "a.wav", force=True)
    refuse_existing(tmp_path / "b.wav", force=False)


def test_json_replaces_json_and_nothing_else(tmp_path: Path) -> None:
    write_json(DOCUMENT, str(tmp_path / "a.json"))
    write_json({**DOCUMENT, "value": 2}, str(tmp_path / "a.json"))
    assert json.loads((tmp_path / "a.json").read_bytes())["value"] == 2
    (tmp_path / "room.toml").write_text("length_m = 5", encoding="utf-8")
    for name, message in (("room.toml", "isn't JSON"), ("new.wav", "ending of a sound file")):
        with pytest.raises(OutputError, match=message):
            check_json_target(str(tmp_path / name))
        with pytest.raises(OutputError, match=message):
            write_json(DOCUMENT, str(tmp_path / name))
    assert (tmp_path / "room.toml").read_text(encoding="utf-8") == "length_m = 5"


def test_json_to_standard_output_is_json_alone(capsysbinary: pytest.CaptureFixture[bytes]) -> None:
    write_json({**DOCUMENT, "unit": "µs"}, "-")
    out = capsysbinary.readouterr().out
    assert json.loads(out.decode("utf-8"))["unit"] == "µs"


def test_json_knows_no_arrays_and_no_nan() -> None:
    # Known input, each kind that a result may hold.
    given = {
        "a": np.array([1.0, np.nan]),
        "b": np.float64(2),
        "c": (1, None),
        "d": float("inf"),
        "e": np.bool_(True),
        "f": {"g": [np.int64(3)]},
    }
    wanted = {"a": [1.0, None], "b": 2.0, "c": [1, None], "d": None, "e": True, "f": {"g": [3]}}
    assert plain(given) == wanted


def test_every_document_names_its_schema_and_command() -> None:
    with pytest.raises(ValueError, match="schema and command"):
        json_text({"value": 1})
