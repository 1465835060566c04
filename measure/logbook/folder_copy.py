"""A folder copied to the disk, up to the first file that can't be."""

from __future__ import annotations

import shutil
from collections.abc import Collection
from pathlib import Path

from measure.files.durable import sync_file, sync_folder


def copy_folder(source: Path, target: Path, *, without: Collection[str] = ()) -> None:
    """Copy a folder with all in it, byte for byte, and bring it to the disk.

    Parameters
    ----------
    source : Path
    target : Path
        Not there yet. Where an error is raised it holds what was copied until then.
    without : collection of str
        Names of files that stay behind.

    Raises
    ------
    OSError
        Of the first file that can't be copied, with the system's own reason.
    """
    target.mkdir()
    for path in sorted(source.iterdir()):
        if path.is_dir():
            copy_folder(path, target / path.name, without=without)
        elif path.name not in without:
            shutil.copy2(path, target / path.name)
            sync_file(target / path.name)
    sync_folder(target)
