"""From written to kept: what a power cut no longer takes away.

A system keeps what was written in memory for a while. `sync_file` returns once it is on
the disk; `sync_folder` does the same for names, which a folder holds: a new or renamed
file is safe once its folder is. Windows has no way to ask that of a folder, and needs none.
"""

from __future__ import annotations

import os
from pathlib import Path


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
