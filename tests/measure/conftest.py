"""What several tests of the doors share; helpers of this folder become importable here."""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

NOBODY = 65534


@pytest.fixture
def ordinary_folder() -> Iterator[Path]:
    """Yield a folder of an ordinary user, and be that user: the superuser may do anything."""
    if not hasattr(os, "geteuid"):
        pytest.skip("this system has no POSIX rights")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if os.geteuid() != 0:
            yield folder
            return
        os.chown(folder, NOBODY, NOBODY)
        try:
            os.seteuid(NOBODY)
        except PermissionError:
            pytest.skip("the superuser here can't become an ordinary user")
        try:
            yield folder
        finally:
            os.seteuid(0)
