"""Rules that all commands share for what they write.

Results derived from a recording may be replaced; sweeps and recordings only on request.
Every file appears whole or not at all: it is written beside its place and renamed, and
files that belong together are renamed only when all of them are written.
"""

from __future__ import annotations

import json
import math
import os
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any, Final

from measure.errors import OutputError

STDOUT: Final = "-"

SOUND_SUFFIXES: Final = frozenset({".wav", ".flac", ".aif", ".aiff", ".caf", ".w64", ".rf64"})
"""No derived text ever replaces a file with one of these endings."""

Writer = Callable[[Path], object]

JsonObject = dict[str, object]
"""What a command writes as JSON: names to values that `plain` knows."""


def write_whole(path: Path, write: Writer) -> None:
    """Write a file through `write` so that it appears whole or not at all.

    Parameters
    ----------
    path : Path
    write : callable
        Is given a temporary path in the same folder, with the same suffix.

    Raises
    ------
    OutputError
        If the folder is missing or can't be written to, or the disk is full.
    """
    write_together({path: write})


def write_together(files: Mapping[Path, Writer]) -> None:
    """Write several files so that all of them appear, or none.

    Parameters
    ----------
    files : mapping of Path to callable
        What writes each, as in `write_whole`.

    Raises
    ------
    OutputError
        If one of them can't be written.
    """
    with ExitStack() as stack:
        written: dict[Path, Path] = {}
        for path, write in files.items():
            with _explain_errors(path):
                check_writable(str(path))
                written[path] = _temporary_beside(path.resolve())
                stack.callback(written[path].unlink, missing_ok=True)
                write(written[path])
        for path, temporary in written.items():
            with _explain_errors(path):
                _put_in_place(temporary, path.resolve())


@contextmanager
def _explain_errors(path: Path) -> Iterator[None]:
    """Turn the system's complaint about a path into one sentence."""
    try:
        yield
    except OSError as problem:
        msg = f"can't write {path} ({problem.strerror or problem}): give another path, or make room"
        raise OutputError(msg) from problem


def _is_special(path: Path) -> bool:
    """Return whether a path is a terminal, a pipe or the like, which nothing may replace."""
    return path.exists() and not path.is_file()


def _temporary_beside(path: Path) -> Path:
    """Return a fresh empty file with the suffix of `path`, in its folder if that can be."""
    folder = None if _is_special(path) else path.parent
    handle, name = tempfile.mkstemp(dir=folder, prefix=f".{path.stem[:40]}-", suffix=path.suffix)
    os.close(handle)
    return Path(name)


def _put_in_place(temporary: Path, path: Path) -> None:
    """Give a written file its name; pour it into a terminal or pipe."""
    if _is_special(path):
        with temporary.open("rb") as source, path.open("wb") as target:
            shutil.copyfileobj(source, target)
        return
    if path.exists():
        shutil.copymode(path, temporary)
    else:
        temporary.chmod(0o666 & ~_umask())
    temporary.replace(path)


def _umask() -> int:
    """Return the process's file mode mask."""
    mask = os.umask(0o022)
    os.umask(mask)
    return mask


def refuse_existing(path: Path, *, force: bool) -> None:
    """Raise an error if a sweep or recording would be overwritten.

    Raises
    ------
    OutputError
        If `path` exists and `force` is False.
    """
    if path.exists() and not force:
        msg = f"{path} exists already: give another name, or --force to replace it"
        raise OutputError(msg)


def check_writable(path: str | None) -> None:
    """Raise an error early if a file couldn't be written after the work.

    Parameters
    ----------
    path : str or None
        None and ``-`` are always fine.

    Raises
    ------
    OutputError
        If it is a folder, or its folder is missing or not writable.
    """
    if path is None or path == STDOUT:
        return
    target = Path(path)
    if target.is_dir():
        msg = f"{target} is a folder: give the name of a file in it"
        raise OutputError(msg)
    if not target.parent.is_dir():
        msg = f"the folder {target.parent} doesn't exist: make it, or give another path"
        raise OutputError(msg)
    place = target if _is_special(target) else target.parent
    if not os.access(place, os.W_OK):
        msg = f"can't write {target}, no right to write in {place}: give another path"
        raise OutputError(msg)


def check_json_target(target: str | None) -> None:
    """Raise an error early if the JSON couldn't be written, or would destroy something else.

    Parameters
    ----------
    target : str or None
        What ``--json`` was given.

    Raises
    ------
    OutputError
        If it can't be written, has the ending of a sound file, or is a file that holds no
        JSON.
    """
    check_writable(target)
    if target is None or target == STDOUT:
        return
    path = Path(target)
    if path.suffix.lower() in SOUND_SUFFIXES:
        msg = f"--json {path} has the ending of a sound file: give a name such as out.json"
        raise OutputError(msg)
    if path.is_file() and path.stat().st_size and not _begins_like_json(path):
        msg = f"{path} exists and isn't JSON: give another name for --json, or delete it first"
        raise OutputError(msg)


def _begins_like_json(path: Path) -> bool:
    """Return whether the first sign in a file opens a JSON object."""
    try:
        with path.open("rb") as file:
            return file.read(64).lstrip()[:1] == b"{"
    except OSError:
        return True


def plain(value: Any) -> Any:
    """Return a value as JSON knows it: no arrays, no NaN, tuples as lists."""
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value


def json_text(document: Mapping[str, Any]) -> str:
    """Return a result as JSON, in the form in which every command writes it.

    Parameters
    ----------
    document : mapping
        Has the keys ``schema`` and ``command``.

    Returns
    -------
    str

    Raises
    ------
    ValueError
        If one of the two keys is missing.
    """
    if not {"schema", "command"} <= document.keys():
        msg = f"a document must have the keys schema and command, not only {sorted(document)}"
        raise ValueError(msg)
    return json.dumps(plain(document), allow_nan=False, indent=1, ensure_ascii=False) + "\n"


def write_json(document: Mapping[str, Any], target: str) -> None:
    """Write a result as JSON to a file, or to standard output for ``-``.

    Parameters
    ----------
    document : mapping
        Has the keys ``schema`` and ``command``.
    target : str

    Raises
    ------
    OutputError
        If the file can't be written.
    """
    text = json_text(document)
    if target == STDOUT:
        # UTF-8 whatever the terminal's own encoding: that is what JSON is.
        sys.stdout.flush()
        sys.stdout.buffer.write(text.encode())
        sys.stdout.flush()
        return
    check_json_target(target)
    write_whole(Path(target), text_writer(text))


def text_writer(text: str) -> Writer:
    """Return a function that writes `text` as UTF-8 to the path that it is given."""

    def write(path: Path) -> None:
        path.write_text(text, encoding="utf-8", newline="\n")

    return write


def bytes_writer(raw: bytes) -> Writer:
    """Return a function that writes bytes to the path that it is given."""

    def write(path: Path) -> None:
        path.write_bytes(raw)

    return write
