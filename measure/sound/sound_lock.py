"""One sound path at a time: two programs that play at once are as loud as both together.

Each of them keeps its own cap of the level, but their sum doesn't: two at -13 dBFS can reach
-7 dBFS. So whoever starts a sound path holds a lock of the operating system in the person's state
folder, until the path is closed. A process that is killed lets go by dying, and the next may
start at once. The lock is one for each user, as settings and the tweeters' account are.

A simulated path takes no lock: it makes no sound, and must not keep a person from a real take.
"""

from __future__ import annotations

import json
import os
import shlex
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final

from measure.errors import MeasureError, SoundDeviceError
from measure.files.output import text_writer, write_whole
from measure.files.system import hold_lock, state_folder

if TYPE_CHECKING:
    from measure.sound.path import SoundPath

LOCK: Final = "sound.lock"

HOLDER: Final = "sound_in_use.json"
"""Says who holds the lock. A file of its own: Windows lets nobody read a locked one."""

PATIENCE_S: Final = 0.3
"""For a process that was just killed to be gone, and less than a person notices."""


@contextmanager
def hold_sound(path: SoundPath) -> Iterator[None]:
    """Hold the right to make sound for the block.

    Parameters
    ----------
    path : SoundPath
        A path that makes no sound needs no right.

    Raises
    ------
    SoundDeviceError
        If another process makes sound, saying which, or the lock's file can't be made.
    """
    if not path.audible:
        yield
        return
    folder = state_folder()
    lock = hold_lock(folder / LOCK, patience_s=PATIENCE_S)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        lock.__enter__()
    except TimeoutError as problem:
        raise SoundDeviceError(_in_use(folder / HOLDER)) from problem
    except OSError as problem:
        msg = (
            f"can't make sure that nothing else plays, by the file {folder / LOCK} "
            f"({problem.strerror or problem}), so nothing is played: make room, or give yourself "
            "the right to write there"
        )
        raise SoundDeviceError(msg) from problem
    try:
        _name_holder(folder / HOLDER)
        yield
    finally:
        with suppress(OSError):
            (folder / HOLDER).unlink()
        lock.__exit__(None, None, None)


def _name_holder(file: Path) -> None:
    """Write who makes sound; without room for it the lock still holds."""
    said = {
        "schema": 1,
        "process": os.getpid(),
        "command": shlex.join(["apexline", *sys.argv[1:]]),
        "start": datetime.now().astimezone().isoformat(timespec="seconds"),
    }
    with suppress(MeasureError):
        write_whole(file, text_writer(json.dumps(said, indent=1) + "\n"))


def _in_use(file: Path) -> str:
    """Return who makes sound, as far as is known, and what to do."""
    try:
        said = json.loads(file.read_text(encoding="utf-8"))
        start = datetime.fromisoformat(said["start"])
        who = f"`{said['command']}` (process {said['process']}, since {start:%H:%M:%S})"
    except (OSError, ValueError, KeyError, TypeError):
        who = "another process of yours"
    return (
        f"{who} plays and records already, and two at once would be too loud: wait until it ends, "
        "or stop it; then begin again"
    )
