"""Where a sound server runs: under a name of a fixed pool, and with shared memory of its own.

JACK registers at most eight servers' names in ``/dev/shm``, and a killed one keeps its place
until a server of the same name starts. So names are few and used again, each held by a lock
that the kernel frees with its last holder. Where we may mount, a server and its clients also
see a folder of their own as ``/dev/shm``, and the other servers' entries don't matter.
"""

from __future__ import annotations

import fcntl
import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import BinaryIO

SHARED_MEMORY = Path("/dev/shm")

POOL_SIZE = 6
"""Of JACK's eight places, these; the others are for servers that aren't ours."""

WAIT_S = 300.0
"""Other test processes give their servers up after a module, which takes a minute or two."""

WAYS_IN = (("unshare", "--mount"), ("unshare", "--map-root-user", "--mount"))
"""Into a mount namespace: as root, and as anybody where the kernel lets them."""

MOUNT_AND_RUN = f'mount --bind "$0" {SHARED_MEMORY} && exec "$@"'


@dataclass(frozen=True, kw_only=True, slots=True)
class ServerPlace:
    """What one server has to itself.

    Attributes
    ----------
    name : str
        Of the server.
    folder : Path
        Its shared memory, as seen from outside.
    entry : tuple of str
        Put before the command of the server and of each client.
    lock : file
        Whose descriptor the server's processes inherit: the name is free when all have ended.
    """

    name: str
    folder: Path
    entry: tuple[str, ...]
    lock: BinaryIO


@contextmanager
def take_place(
    *, shared: bool = False, within: Path = SHARED_MEMORY, wait_s: float = WAIT_S
) -> Iterator[ServerPlace]:
    """Take a name that is free, and shared memory of its own.

    Parameters
    ----------
    shared : bool
        Use the machine's shared memory, as where nothing may be mounted.
    within : Path
        Where locks and shared memory lie.
    wait_s : float

    Raises
    ------
    TimeoutError
        If all names are held all the time.
    """
    pool = _own_folder(within / f"apexline-rig-{os.getuid()}")
    number, lock = _lock_first_free(pool, wait_s)
    with lock:
        name, way_in = f"rig-{number}", way_to_mount()
        if shared or not way_in:
            yield ServerPlace(name=name, folder=within, entry=(), lock=lock)
            return
        folder = pool / name
        shutil.rmtree(folder, ignore_errors=True)  # A killed run couldn't.
        folder.mkdir()
        entry = enter(folder, way_in)
        try:
            yield ServerPlace(name=name, folder=folder, entry=entry, lock=lock)
        finally:
            shutil.rmtree(folder, ignore_errors=True)


@cache
def way_to_mount() -> tuple[str, ...]:
    """Return the words by which we get a mount namespace here; none if we don't."""
    with tempfile.TemporaryDirectory() as folder:
        for way_in in WAYS_IN:
            command = enter(Path(folder), way_in)
            if shutil.which(command[0]) and not _status([*command, "true"]):
                return way_in
    return ()


def enter(folder: Path, way_in: tuple[str, ...]) -> tuple[str, ...]:
    """Return what, put before a command, makes a folder the command's ``/dev/shm``."""
    return (*way_in, "sh", "-c", MOUNT_AND_RUN, str(folder))


def _status(command: list[str]) -> int:
    return subprocess.run(command, capture_output=True, check=False).returncode


def _own_folder(folder: Path) -> Path:
    """Make a folder for this user alone."""
    folder.mkdir(mode=0o700, exist_ok=True)
    if folder.is_symlink() or folder.stat().st_uid != os.getuid():
        msg = f"{folder} belongs to somebody else: remove it as root"
        raise PermissionError(msg)
    return folder


def _lock_first_free(pool: Path, wait_s: float) -> tuple[int, BinaryIO]:
    """Lock the first number that nobody holds, and return it with its lock."""
    deadline = time.monotonic() + wait_s
    while True:
        for number in range(POOL_SIZE):
            lock = (pool / f"{number}.lock").open("wb")
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                lock.close()
            else:
                return number, lock
        if time.monotonic() > deadline:
            msg = f"all {POOL_SIZE} sound servers of {pool} were in use for {wait_s:g} s"
            raise TimeoutError(msg)
        time.sleep(0.1)
