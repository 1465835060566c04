"""A whole logbook as one file, and takes that come from elsewhere.

The archive is a ZIP without compression of sound (it doesn't shrink) and with names in
UTF-8; the bin and unfinished takes stay out. It is the same bytes for the same content.
"""

from __future__ import annotations

import shutil
import zipfile
from pathlib import Path, PurePosixPath
from typing import Final

from measure.errors import LogbookError, OutputError
from measure.files.output import write_whole
from measure.files.system import sync_file, sync_folder
from measure.logbook.folder import BIN, LOCK, MARK, Logbook
from measure.logbook.names import same_folder
from measure.takes.names import UNFINISHED
from measure.takes.stored import read_take

_SOUND: Final = {".wav", ".flac", ".jpg", ".jpeg", ".png"}
_MOMENT: Final = (1980, 1, 1, 0, 0, 0)


def write_archive(logbook: Logbook, target: Path) -> int:
    """Write a logbook as one ZIP file.

    Parameters
    ----------
    logbook : Logbook
    target : Path
        Not there yet.

    Returns
    -------
    int
        How many files it holds.

    Raises
    ------
    OutputError
        If it is there, or can't be written.
    """
    if target.exists():
        msg = f"{target} exists already: give another name"
        raise OutputError(msg)
    files = sorted(path for path in logbook.path.rglob("*") if path.is_file())
    kept = [path for path in files if _is_archived(path.relative_to(logbook.path))]

    def write(temporary: Path) -> None:
        with zipfile.ZipFile(temporary, "w", allowZip64=True) as archive:
            for path in kept:
                name = path.relative_to(logbook.path).as_posix()
                info = zipfile.ZipInfo(name, date_time=_MOMENT)
                sound = path.suffix.lower() in _SOUND
                info.compress_type = zipfile.ZIP_STORED if sound else zipfile.ZIP_DEFLATED
                info.external_attr = 0o644 << 16
                with path.open("rb") as source, archive.open(info, "w", force_zip64=True) as into:
                    shutil.copyfileobj(source, into, 1 << 20)

    write_whole(target, write)
    return len(kept)


def _is_archived(inside: Path) -> bool:
    """Return whether a file of the logbook belongs in an archive."""
    parts = inside.parts
    unfinished = any(part.endswith(UNFINISHED) for part in parts)
    return parts[0] != BIN and inside.name != LOCK and not unfinished


def read_archive(source: Path, target: Path) -> int:
    """Unpack an archive into a new folder.

    Parameters
    ----------
    source : Path
    target : Path
        Not there yet.

    Returns
    -------
    int
        How many files it held.

    Raises
    ------
    LogbookError
        If it is no logbook's archive, is damaged, or the folder is there.
    """
    if target.exists():
        msg = f"{target} exists already: give a folder that doesn't"
        raise LogbookError(msg)
    made = target.with_name(target.name + UNFINISHED)
    try:
        with zipfile.ZipFile(source) as archive:
            names = archive.namelist()
            outside = [one for one in names if not _inside(one)]
            if MARK not in names or outside:
                msg = f"{source} isn't a logbook's archive"
                raise LogbookError(msg)
            damaged = archive.testzip()
            if damaged:
                msg = f"{source} is damaged at {damaged}: copy it again"
                raise LogbookError(msg)
            archive.extractall(made)
        made.rename(target)
    except (OSError, zipfile.BadZipFile) as problem:
        shutil.rmtree(made, ignore_errors=True)
        msg = f"can't unpack {source} ({problem}): check the file, or make room"
        raise LogbookError(msg) from problem
    return len(names)


def _inside(name: str) -> bool:
    """Return whether a name in an archive stays in its folder."""
    path = PurePosixPath(name)
    return not path.is_absolute() and ".." not in path.parts and "\\" not in name


def adopt_take(logbook: Logbook, source: Path) -> Path:
    """Copy a take from elsewhere into a logbook, as it is.

    Parameters
    ----------
    logbook : Logbook
    source : Path
        Folder of a complete take; it stays.

    Returns
    -------
    Path
        The copy, whose checksum was held against its recording.

    Raises
    ------
    MeasureError
        If it isn't whole, one of that name is there, or it can't be copied.
    """
    read_take(source)
    wanted = logbook.takes / source.name
    made = wanted.with_name(wanted.name + UNFINISHED)
    with logbook.locked():
        logbook.takes.mkdir(exist_ok=True)
        taken = same_folder(logbook.takes, wanted.name)
        if taken is not None or made.exists():
            msg = f"there is a take {taken or made} already: rename {source}"
            raise LogbookError(msg)
        try:
            _copy_folder(source, made)
            read_take(made)
            made.rename(wanted)
            sync_folder(logbook.takes)
        except OSError as problem:
            shutil.rmtree(made, ignore_errors=True)
            msg = f"can't copy {source} into {logbook.path} ({problem.strerror or problem})"
            raise LogbookError(msg + ": make room") from problem
    return wanted


def _copy_folder(source: Path, target: Path) -> None:
    """Copy a folder with all in it, byte for byte, and bring it to the disk.

    Where a file can't be copied, its error is raised with the system's own reason, and `target`
    holds what was copied until then.
    """
    target.mkdir()
    for path in sorted(source.iterdir()):
        if path.is_dir():
            _copy_folder(path, target / path.name)
        else:
            shutil.copy2(path, target / path.name)
            sync_file(target / path.name)
    sync_folder(target)
