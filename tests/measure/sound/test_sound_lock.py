"""One sound path at a time, held by a lock of the operating system."""

from __future__ import annotations

import json
import math
import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from measure.errors import SoundDeviceError
from measure.files.system import VARIABLE
from measure.safety.treble_ledger import MemoryLedger
from measure.sound.path import SoundPath
from measure.sound.simulation.room import SimulatedRoom
from measure.sound.sound_lock import HOLDER, hold_sound
from measure.sound.watch import open_run

ROOT = Path(__file__).parents[3]
SILENCE = np.zeros((2, 48_000))


class AudibleRoom(SimulatedRoom):
    """The simulated room, in the place of a device: it counts as making sound."""

    audible = True


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(VARIABLE, str(tmp_path / "home"))
    return tmp_path / "home"


HOLDING = (
    "import sys, time\n"
    "from pathlib import Path\n"
    "sys.path.insert(0, str(Path(sys.argv[2])))\n"
    "from test_sound_lock import SILENCE, AudibleRoom\n"
    "from measure.safety.treble_ledger import MemoryLedger\n"
    "from measure.sound.watch import open_run\n"
    "sys.argv = ['apexline', 'take', 'near the wall']\n"
    "with open_run(AudibleRoom(), SILENCE, ledger=MemoryLedger(), n_frames=48_000):\n"
    "    print('plays', flush=True)\n"
    "    time.sleep(60)\n"
)


@pytest.fixture
def other(home: Path) -> Iterator[subprocess.Popen[str]]:
    """Give another process that plays."""
    process = subprocess.Popen(
        [sys.executable, "-c", HOLDING, "", str(Path(__file__).parent)],
        env=os.environ | {VARIABLE: str(home), "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "plays\n"
    yield process
    process.kill()
    process.communicate()


def play(room: SoundPath, ledger: MemoryLedger | None = None) -> None:
    with open_run(room, SILENCE, ledger=ledger or MemoryLedger(), n_frames=48_000):
        pass


def test_a_second_process_is_told_who_plays(other: subprocess.Popen[str]) -> None:
    # Known input: the other's number and command. Nothing of the second is counted as played:
    # the lock comes before the account.
    class Untouched(MemoryLedger):
        def enter(self, energy: object) -> object:
            raise AssertionError(energy)

    with pytest.raises(SoundDeviceError) as told:
        play(AudibleRoom(pace=math.inf), Untouched())
    said = str(told.value)
    assert "`apexline take 'near the wall'`" in said
    assert f"process {other.pid}" in said
    assert re.search(r"since \d\d:\d\d:\d\d", said)
    assert "\n" not in said


def test_a_killed_process_lets_go_at_once(other: subprocess.Popen[str], home: Path) -> None:
    # Known input: kill -9, and a new one straight after. What the killed one left says
    # nothing any more.
    other.send_signal(signal.SIGTERM if os.name == "nt" else signal.SIGKILL)
    other.wait()
    assert (home / HOLDER).exists()
    play(AudibleRoom(pace=math.inf))
    assert not (home / HOLDER).exists()


@pytest.mark.usefixtures("other")
def test_a_simulated_room_keeps_nobody_out_and_is_not_kept_out() -> None:
    # Invariant: it makes no sound.
    play(SimulatedRoom(pace=math.inf))


def test_it_is_held_from_before_the_limits_until_after_the_end(home: Path) -> None:
    # Known input: an account and a room that look who holds the lock.
    held = []

    def look() -> None:
        said = json.loads((home / HOLDER).read_text(encoding="utf-8"))
        held.append(said["process"] == os.getpid())

    class Looking(MemoryLedger):
        def enter(self, energy: object) -> object:
            look()
            return super().enter(energy)

    class LookingRoom(AudibleRoom):
        def wait(self, duration_s: float) -> None:
            look()
            super().wait(duration_s)

    play(LookingRoom(pace=math.inf), Looking())
    assert held == [True, True]
    assert not (home / HOLDER).exists()


def test_it_is_let_go_whatever_happens(home: Path) -> None:
    # Known input: a device that can't be started, samples beyond the limits, an error within.
    room = AudibleRoom(pace=math.inf)

    class Refusing(AudibleRoom):
        def start(self, *_: object, **__: object) -> object:
            msg = "busy"
            raise SoundDeviceError(msg)

    with pytest.raises(SoundDeviceError, match="busy"):
        play(Refusing(pace=math.inf))
    with pytest.raises(ValueError, match="shape"):
        open_run(room, np.zeros(3), ledger=MemoryLedger(), n_frames=1).__enter__()
    with pytest.raises(KeyboardInterrupt), hold_sound(room):
        raise KeyboardInterrupt
    assert not (home / HOLDER).exists()
    play(room)


def test_two_paths_of_one_process_are_two(home: Path) -> None:  # noqa: ARG001
    # Invariant: the loudspeakers don't care which process it is.
    with (
        hold_sound(AudibleRoom(pace=math.inf)),
        pytest.raises(SoundDeviceError, match=f"process {os.getpid()}"),
    ):
        play(AudibleRoom(pace=math.inf))


def test_without_a_place_for_the_lock_nothing_plays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Known input: a file where the person's folder should be.
    (tmp_path / "home").write_bytes(b"")
    monkeypatch.setenv(VARIABLE, str(tmp_path / "home"))
    with pytest.raises(SoundDeviceError, match=r"nothing is played"):
        play(AudibleRoom(pace=math.inf))
