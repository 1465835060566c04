"""A real audio stack without hardware: a JACK server of our own, and a room on it.

`open_rig` starts both and ends both. Whatever is started also ends with the process that
started it.
"""

from __future__ import annotations

import ctypes.util
import itertools
import json
import os
import queue
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from server_place import ServerPlace, take_place
from sound_server import ENDS_WITH_PARENT, PATIENCE_S, end

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
_numbers = itertools.count()

N_LAST_LINES = 30
"""Of what room and server said, in an error."""


def missing_packages() -> list[str]:
    """Return the Debian packages that the rig needs and doesn't find."""
    found = {
        "jackd2": shutil.which("jackd"),
        "libportaudio2": ctypes.util.find_library("portaudio"),
        "util-linux": shutil.which("setpriv"),
    }
    return [package for package, where in found.items() if not where]


def need_packages() -> None:
    """Skip what needs the rig where it can't run; in continuous integration that fails."""
    if not (missing := missing_packages()):
        return
    reason = f"the sound rig needs {', '.join(missing)}: run tests/rig/install_packages.sh as root"
    if os.environ.get("CI") == "true":
        pytest.fail(reason, pytrace=False)
    pytest.skip(reason)


class Rig:
    """A server, and a room between its loudspeakers and its microphone.

    Parameters
    ----------
    sample_rate_hz : int
    folder : Path
        For what is handed between the processes.
    place : ServerPlace

    Attributes
    ----------
    environment : dict
        What a client's environment must be for it to find this server and no other.
    """

    def __init__(self, sample_rate_hz: int, folder: Path, place: ServerPlace) -> None:
        self.sample_rate_hz = sample_rate_hz
        self.environment = os.environ | {
            "JACK_DEFAULT_SERVER": place.name,
            "JACK_NO_START_SERVER": "1",
            "OMP_NUM_THREADS": "1",
            "OPENBLAS_NUM_THREADS": "1",
        }
        self.folder, self.place = folder, place
        self._said = folder / f"said-{next(_numbers)}.txt"
        self._events: list[str] = []
        self._lines: queue.SimpleQueue[str] = queue.SimpleQueue()
        self.process = self._started()
        self._reader = threading.Thread(target=self._read)
        self._reader.start()

    def _started(self) -> subprocess.Popen[str]:
        """Start the room, which starts its server."""
        script = [*ENDS_WITH_PARENT, sys.executable, str(HERE / "room_process.py")]
        responses = self._save(np.ones((2, 1)))
        with self._said.open("w", encoding="utf-8") as said:
            return subprocess.Popen(
                self.command(*script, str(self.sample_rate_hz), str(responses)),
                env=self.environment,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=said,
                text=True,
                start_new_session=True,  # The person's Ctrl-C is for the tests, which end us.
                pass_fds=(self.place.lock.fileno(),),
            )

    def command(self, *words: str) -> list[str]:
        """Return a client's command such that it sees the server; `environment` is needed too."""
        return [*self.place.entry, *words]

    def await_ready(self) -> None:
        """Wait for the room's and its server's start."""
        self.server_pid = int(self.await_event("ready").split()[1])

    @property
    def pids(self) -> tuple[int, int]:
        """Process ids of room and server."""
        return self.process.pid, self.server_pid

    def tell(self, command: str) -> str:
        """Give the room a command and return its answer; `room_process.py` lists them."""
        assert self.process.stdin
        with suppress(BrokenPipeError):  # Its end is among its answers, with its last words.
            self.process.stdin.write(command + "\n")
            self.process.stdin.flush()
        return self._answer()

    def furnish(self, responses: NDArray[np.float64]) -> None:
        """Give the room its impulse responses, shape (2, n)."""
        self.tell(f"responses {self._save(responses)}")

    def heard(self) -> list[dict[str, Any]]:
        """Return the sounds that reached the loudspeakers since the last reset."""
        return json.loads(self.tell("heard"))

    def frame(self) -> int:
        """Return how many frames went by since the last reset."""
        return int(self.tell("frame"))

    def clients(self) -> set[str]:
        """Return who is on the server."""
        return set(self.tell("clients").split())

    def await_event(self, word: str) -> str:
        """Wait until the room has said an event that begins so, and return it whole."""
        deadline = time.monotonic() + PATIENCE_S
        while not (said := [event for event in self._events if event.startswith(word)]):
            self._next_line(deadline, f"event {word}")
        self._events.remove(said[0])
        return said[0]

    def play(self, played: NDArray[np.floating]) -> NDArray[np.float32]:
        """Play and record by plain sounddevice; both of shape (2, n), NaN where undelivered."""
        there, back = self.folder / "played.npy", self.folder / "recorded.npy"
        np.save(there, np.ascontiguousarray(played.T))
        script = [sys.executable, str(HERE / "play_and_record.py")]
        subprocess.run(
            self.command(*script, str(there), str(back), str(self.sample_rate_hz)),
            env=self.environment,
            check=True,
            capture_output=True,
            timeout=PATIENCE_S + played.shape[1] / self.sample_rate_hz,
        )
        return np.load(back).T

    def restore(self) -> None:
        """Put everything back as it was at the start."""
        self._events.clear()
        self.tell("return")
        self.tell("freewheel off")
        self.furnish(np.ones((2, 1)))
        self.tell("noise 0")

    def close(self) -> None:
        """End the room, which leaves its server and ends it."""
        with suppress(BrokenPipeError):
            self.process.stdin.close()
        end(self.process, in_s=10)
        self._reader.join(PATIENCE_S)
        self.process.stdout.close()

    def _save(self, responses: NDArray[np.float64]) -> Path:
        path = self.folder / f"responses-{next(_numbers)}.npz"
        np.savez(path, responses=responses)
        return path

    def _read(self) -> None:
        for line in self.process.stdout:
            self._lines.put(line.strip())
        self._lines.put(f"error the room has ended; {self._last_words()}")

    def _last_words(self) -> str:
        """Return what room and server said to nobody, for an error."""
        said = self._said.read_text(encoding="utf-8", errors="replace").splitlines()
        return "\n".join(["it and its server said:", *said[-N_LAST_LINES:]])

    def _answer(self) -> str:
        deadline = time.monotonic() + PATIENCE_S
        while True:
            kind, _, rest = self._next_line(deadline, "an answer").partition(" ")
            if kind == "ok":
                return rest
            if kind == "error":
                raise AssertionError(rest)

    def _next_line(self, deadline: float, what: str) -> str:
        try:
            line = self._lines.get(timeout=max(0.0, deadline - time.monotonic()))
        except queue.Empty:
            msg = f"the room gave no {what} in {PATIENCE_S:g} s; {self._last_words()}"
            raise AssertionError(msg) from None
        kind, _, rest = line.partition(" ")
        if kind == "event":
            self._events.append(rest)
        elif kind == "error" and what.startswith("event"):
            raise AssertionError(rest)
        return line


@contextmanager
def open_rig(sample_rate_hz: int, folder: Path, *, shared: bool = False) -> Iterator[Rig]:
    """Start a rig and end it; in the machine's shared memory, or where it can in its own."""
    need_packages()
    with take_place(shared=shared) as place, closing(Rig(sample_rate_hz, folder, place)) as rig:
        rig.await_ready()
        yield rig
