"""Rigs for the tests of this folder, whose helpers become importable here."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from sound_rig import Rig, open_rig


@pytest.fixture(scope="module", params=[48_000], ids="{} Hz".format)
def standing_rig(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Rig]:
    """One rig for a module, or one a sample rate."""
    with open_rig(request.param, tmp_path_factory.mktemp("rig")) as rig:
        yield rig


@pytest.fixture
def rig(standing_rig: Rig) -> Rig:
    """Give the module's rig, as it was at the start, and in freewheel mode."""
    standing_rig.restore()
    standing_rig.tell("freewheel on")
    return standing_rig
