"""Rigs for the tests of this folder, whose helpers become importable here."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from program import Ended
from sound_rig import Rig, open_rig

INTRODUCTION = """\
Printed by `pytest tests/rig --faults-table docs/faults.md`: each fault was planted while a real
take ran through a real audio stack (sounddevice, PortAudio, JACK) with an invented room at its
end. After each nothing sounded any more, no process was left, and a recording that was begun
could be read.

An unfinished take is a folder `NAME.unfinished` with `recording.wav` and, in `unfinished.toml`, the
reason. Exit status 0 means that the question was answered (also with a warning), 2 that it couldn't
be, 130 that it was stopped by a key, Ctrl-C or the system."""

ROWS = pytest.StashKey[list[tuple[str, str, int, str]]]()


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add an option, where this folder is named on the command line."""
    parser.addoption("--faults-table", type=Path, help="page to write what faults look like")


def pytest_configure(config: pytest.Config) -> None:
    """Register the mark for what continuous integration has no time for."""
    config.addinivalue_line("markers", "thorough: only where RIG_THOROUGH is 1")


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Skip what is marked so."""
    if item.get_closest_marker("thorough") and os.environ.get("RIG_THOROUGH") != "1":
        pytest.skip("takes long; RIG_THOROUGH=1 runs it")


@pytest.fixture
def seen(request: pytest.FixtureRequest) -> Callable[..., None]:
    """Give what notes a fault for the table: its name, the command, its words, what is kept."""
    rows = request.config.stash.setdefault(ROWS, [])

    def note(fault: str, ended: Ended, words: str, recording: np.ndarray | None = None) -> None:
        kept = "the take" if ended.status == 0 else "nothing was recorded"
        if recording is not None:
            kept = f"{recording.shape[1] / 48_000:.1f} s in `a.unfinished`"
        rows.append((fault, words.removeprefix("Error: "), ended.status, kept))

    return note


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Write the table, if it was asked for."""
    config = terminalreporter.config
    if target := config.getoption("faults_table", None):
        target.write_text(page(config.stash.get(ROWS, [])), encoding="utf-8")
        terminalreporter.write_line(f"What faults look like is in {target}.")


def page(rows: list[tuple[str, str, int, str]]) -> str:
    """Return the page about faults."""
    lines = [
        "# When something goes wrong in a take",
        "",
        INTRODUCTION,
        "",
        "| What goes wrong | What you see | Exit status | What is kept |",
        "|---|---|---|---|",
        *(f"| {fault} | {words} | {status} | {kept} |" for fault, words, status, kept in rows),
    ]
    return "\n".join([*lines, ""])


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
