"""A copy of a logbook in which every file has the newest schema; the old one stays as it is.

No program needs it, since older files are read as they are. It is for those who pass a
logbook on, or who want one schema throughout. What the newer schema says is made by the pure
functions of `measure.files.migration`; every other file is copied byte for byte.
"""

from __future__ import annotations

import shutil
import tomllib
from pathlib import Path

from measure.errors import LogbookError, MeasureError
from measure.files.durable import sync_file, sync_folder
from measure.files.output import text_writer, write_whole
from measure.logbook.folder import LOCK, Logbook
from measure.logbook.folder_copy import copy_folder
from measure.takes.facts import SCHEMA, read_take_toml, take_text
from measure.takes.names import FACTS, UNFINISHED


def renew_logbook(logbook: Logbook, target: Path) -> tuple[int, tuple[str, ...]]:
    """Copy a logbook, and bring its files to the newest schema.

    Parameters
    ----------
    logbook : Logbook
        It isn't written to, not even its lock.
    target : Path
        The new folder; not there yet.

    Returns
    -------
    n_renewed : int
        How many files were of an older schema.
    problems : tuple of str
        One sentence a damaged file; it is copied as it is.

    Raises
    ------
    LogbookError
        If `target` is there or within the logbook, or can't be written.
    """
    if target.exists() or target.resolve().is_relative_to(logbook.path.resolve()):
        msg = f"{target} must be a new folder outside the logbook {logbook.path}: give another"
        raise LogbookError(msg)
    made = target.with_name(target.name + UNFINISHED)
    try:
        copy_folder(logbook.path, made, without={LOCK})
        renewed, problems = _renew_takes(made)
        made.rename(target)
        sync_folder(target.parent)
    except OSError as problem:
        shutil.rmtree(made, ignore_errors=True)
        msg = f"can't copy {logbook.path} to {target} ({problem.strerror or problem})"
        raise LogbookError(msg + ": check its rights, or make room") from problem
    except BaseException:
        shutil.rmtree(made, ignore_errors=True)
        raise
    return renewed, problems


def _renew_takes(made: Path) -> tuple[int, tuple[str, ...]]:
    """Write the facts of each older take again, also of those in the bin."""
    n_renewed, problems = 0, []
    for facts in sorted(made.rglob(FACTS)):
        try:
            content = read_take_toml(facts)
        except MeasureError as problem:
            problems.append(str(problem))
            continue
        if tomllib.loads(facts.read_text(encoding="utf-8-sig"))["schema"] != SCHEMA:
            write_whole(facts, text_writer(take_text(content)))
            sync_file(facts)
            sync_folder(facts.parent)
            n_renewed += 1
    return n_renewed, tuple(problems)
