"""What each operating system does its own way: a person's folders, the disk, locks and keys.

Settings and state are kept in the platform's own folders, never in the working directory. The
environment variable ``APEXLINE_HOME`` names one folder for both instead, for trying things out
and for tests.

A system keeps what was written in memory for a while. `sync_file` returns once it is on the
disk; `sync_folder` does the same for names, which a folder holds: a new or renamed file is safe
once its folder is. Windows has no way to ask that of a folder, and needs none.

A lock is the operating system's, on a file of its own that stays where it is: a process that
dies lets go of it by dying.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, Final

VARIABLE: Final = "APEXLINE_HOME"

POLL_S: Final = 0.01
"""Between two tries to get a lock."""

if sys.platform == "win32":
    import msvcrt

    def _try_lock(file: IO[bytes]) -> None:
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)

    def read_single_keys() -> Callable[[], None]:
        """Have keys come without return; nothing is to be done here."""
        return lambda: None

    def pressed_key() -> str:
        """Return the key pressed at the terminal since the last call, or an empty string."""
        return msvcrt.getwch() if msvcrt.kbhit() else ""

    def has_input_ended() -> bool:
        """Return whether the pipe on standard input has ended; Windows can't be asked."""
        return False

else:
    import fcntl

    def _try_lock(file: IO[bytes]) -> None:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)

    def read_single_keys() -> Callable[[], None]:
        """Have the terminal give each key at once; return what puts it back as it was."""
        import termios
        import tty

        handle = sys.stdin.fileno()
        before = termios.tcgetattr(handle)
        tty.setcbreak(handle)

        def restore() -> None:
            # A terminal that was closed has no mode any more.
            with suppress(termios.error):
                termios.tcsetattr(handle, termios.TCSADRAIN, before)

        return restore

    def pressed_key() -> str:
        """Return the key pressed at the terminal since the last call, or an empty string."""
        import select

        handle = sys.stdin.fileno()
        if not select.select([handle], [], [], 0)[0]:
            return ""
        # Read past Python's own buffer, which `select` doesn't see.
        try:
            return os.read(handle, 64).decode(errors="replace")[:1]
        except OSError:  # The terminal was closed.
            return ""

    def has_input_ended() -> bool:
        """Return whether standard input is a pipe whose other end is closed.

        What was written into it is left for whoever reads it.
        """
        import select
        import stat

        try:
            handle = sys.stdin.fileno()
            mode = os.fstat(handle).st_mode
        except (AttributeError, OSError, ValueError):
            return False
        if not (stat.S_ISFIFO(mode) or stat.S_ISSOCK(mode)):
            return False
        asked = select.poll()
        asked.register(handle, select.POLLHUP)
        return any(event & select.POLLHUP for _, event in asked.poll(0))


def config_folder() -> Path:
    """Return the folder for settings; it may not exist yet."""
    named = _named_folder()
    if named is not None:
        return named
    import platformdirs

    return platformdirs.user_config_path("apexline", appauthor=False)


def state_folder() -> Path:
    """Return the folder for what the program itself remembers; it may not exist yet."""
    named = _named_folder()
    if named is not None:
        return named
    import platformdirs

    return platformdirs.user_state_path("apexline", appauthor=False)


def _named_folder() -> Path | None:
    """Return the folder that the environment names, if it does."""
    named = os.environ.get(VARIABLE)
    return Path(named) if named else None


def sync_file(path: Path) -> None:
    """Return once the file's content is on the disk.

    Raises
    ------
    OSError
        If it can't be brought there.
    """
    # Windows syncs only what is open for writing.
    with path.open("r+b") as file:
        os.fsync(file.fileno())


def sync_folder(path: Path) -> None:
    """Return once the folder's names are on the disk, where a system can tell.

    Raises
    ------
    OSError
        If they can't be brought there.
    """
    if os.name == "nt":
        return
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


@contextmanager
def hold_lock(path: Path, *, patience_s: float) -> Iterator[None]:
    """Hold a lock for the block, so that no two processes change one file at once.

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
