"""Keeping two processes from changing one file at once, on every system.

The lock is the operating system's, on a file of its own that stays where it is: a process
that dies lets go of it by dying.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Final

POLL_S: Final = 0.01

if sys.platform == "win32":
    import msvcrt

    def _try_lock(file: IO[bytes]) -> None:
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)

else:
    import fcntl

    def _try_lock(file: IO[bytes]) -> None:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)


@contextmanager
def locked(path: Path, *, patience_s: float) -> Iterator[None]:
    """Hold the lock for the block.

    Parameters
    ----------
    path : Path
        The lock's file; made if it isn't there, and left.
    patience_s : float
        How long to wait for another process to let go.

    Raises
    ------
    TimeoutError
        If it didn't.
    OSError
        If the file can't be made or opened.
    """
    deadline_s = time.monotonic() + patience_s
    with path.open("ab") as file:
        while True:
            try:
                _try_lock(file)
                break
            except OSError as problem:
                if time.monotonic() >= deadline_s:
                    msg = f"{path} is held by another process"
                    raise TimeoutError(msg) from problem
            time.sleep(POLL_S)
        # Closing the file lets go.
        yield
