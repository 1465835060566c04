"""Rules that all commands share for what they write.

Results derived from a recording may be replaced; sweeps and recordings only on request.
Every file appears whole or not at all: it is written beside its place and renamed.
"""

from __future__ import annotations

import json
import math
import os
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from measure.errors import OutputError

STDOUT = "-"


def write_whole(path: Path, write: Callable[[Path], None]) -> None:
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
    if path.is_dir():
        msg = f"{path} is a folder: give the name of a file in it"
        raise OutputError(msg)
    if not path.parent.is_dir():
        msg = f"the folder {path.parent} doesn't exist: make it, or give another path"
        raise OutputError(msg)
    try:
        handle, name = tempfile.mkstemp(
            dir=path.parent, prefix=f".{path.stem[:40]}-", suffix=path.suffix
        )
    except OSError as problem:
        msg = f"can't write {path}: {problem.strerror}; give a path you may write to"
        raise OutputError(msg) from problem
    os.close(handle)
    temporary = Path(name)
    try:
        write(temporary)
        temporary.chmod(0o666 & ~_umask())
        temporary.replace(path)
    except OSError as problem:
        msg = f"can't write {path}: {problem.strerror or problem}"
        raise OutputError(msg) from problem
    finally:
        temporary.unlink(missing_ok=True)


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
    """Raise an error early if a result couldn't be written after the work.

    Raises
    ------
    OutputError
        If the folder is missing or not writable.
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
    if not os.access(target.parent, os.W_OK):
        msg = f"can't write {target}: no right to write in {target.parent}"
        raise OutputError(msg)


def plain(value: Any) -> Any:  # noqa: ANN401
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
    text = json.dumps(plain(document), allow_nan=False, indent=1, ensure_ascii=False) + "\n"
    if target == STDOUT:
        sys.stdout.write(text)
        return
    write_whole(Path(target), lambda path: _write_text(path, text))


def _write_text(path: Path, text: str) -> None:
    """Write text as UTF-8."""
    path.write_text(text, encoding="utf-8")


@contextmanager
def progress(text: str) -> Iterator[Callable[[str], None]]:
    """Show on standard error what is being done; plain lines where there is no terminal.

    Parameters
    ----------
    text : str
        What is done first.

    Yields
    ------
    callable
        Call it with what is done next.
    """
    if not sys.stderr.isatty():
        sys.stderr.write(f"{text} ...\n")
        yield lambda step: sys.stderr.write(f"{step} ...\n") and None
        return
    from rich.console import Console

    with Console(stderr=True).status(text) as status:
        yield status.update
