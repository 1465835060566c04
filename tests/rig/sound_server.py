"""A JACK server without hardware, started and ended by us.

The server outlives its clients: one that ends while a client is there leaves its shared
memory behind, and its place among the eight names that the system's registry holds. What
the server says goes to standard error.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

PERIOD_FRAMES = 1024

PATIENCE_S = 30.0
"""For whatever normally takes a second at most."""

REAPED_WITHIN_S = 3.0

ENDS_WITH_PARENT = ("setpriv", "--pdeathsig", "TERM", "--")
"""Put before a command: the kernel ends it when its parent goes, however that happens."""


class SoundServer:
    """JACK with its dummy driver.

    Parameters
    ----------
    name : str
        That no other server has, held by a lock whose descriptor we inherited.
    sample_rate_hz : int

    Attributes
    ----------
    process : subprocess.Popen
    """

    def __init__(self, name: str, sample_rate_hz: int) -> None:
        self._name, self._sample_rate_hz = name, sample_rate_hz
        self.process = self._started()

    def _started(self) -> subprocess.Popen[bytes]:
        """Start it; a killed one counts as active until the system has reaped it."""
        deadline = time.monotonic() + REAPED_WITHIN_S
        while (process := self._tried()).poll() is not None:
            if time.monotonic() > deadline:
                msg = f"jackd ended at once, with {process.returncode}"
                raise OSError(msg)
            time.sleep(0.5)
        return process

    def _tried(self) -> subprocess.Popen[bytes]:
        """Start it, and wait until clients can join or it has ended."""
        # Synchronous, so that a busy machine delays sound and doesn't damage it. Few ports,
        # because each takes shared memory, and containers have little.
        command = ["jackd", "-r", "-S", "-n", self._name, "-p", "64", "-d", "dummy"]
        command += ["-r", str(self._sample_rate_hz), "-p", str(PERIOD_FRAMES)]
        socket = Path(f"/dev/shm/jack_{self._name}_{os.getuid()}_0")
        self._remove_leftovers()
        process = subprocess.Popen(
            [*ENDS_WITH_PARENT, *command],
            stdin=subprocess.DEVNULL,
            stdout=sys.stderr,
            close_fds=False,  # It holds its name's lock as long as it runs.
        )
        wait_until(lambda: socket.exists() or process.poll() is not None)
        return process

    def close(self) -> None:
        """End it in good order."""
        end(self.process)
        if self.process.returncode != 0:
            # It was killed. The next of the same name takes over what it left behind.
            end(self._started())
        # Clients that it left behind by its own end couldn't remove their part.
        self._remove_leftovers()

    def _remove_leftovers(self) -> None:
        """Remove the files of this name; its place in the registry is taken over."""
        for pattern in (
            f"jack_{self._name}_{os.getuid()}_*",
            f"jack_sem.{os.getuid()}_{self._name}_*",
        ):
            for left in Path("/dev/shm").glob(pattern):
                left.unlink(missing_ok=True)


def wait_until(happened: Callable[[], bool]) -> None:
    """Look again and again until it has happened."""
    deadline = time.monotonic() + PATIENCE_S
    while not happened():
        if time.monotonic() > deadline:
            msg = f"nothing happened in {PATIENCE_S:g} s"
            raise TimeoutError(msg)
        time.sleep(0.01)


def end(process: subprocess.Popen[Any], *, in_s: float = 0) -> None:
    """End one process of ours: by itself within `in_s`, else politely, else at once."""
    with suppress(subprocess.TimeoutExpired):
        process.wait(in_s)
    for signal_number in (signal.SIGTERM, signal.SIGKILL):
        process.send_signal(signal_number)
        with suppress(subprocess.TimeoutExpired):
            process.wait(10)


def is_running(pid: int) -> bool:
    """Whether a process runs; one that ended and waits for its parent doesn't."""
    try:
        status = Path(f"/proc/{pid}/stat").read_text(encoding="ascii", errors="replace")
    except (FileNotFoundError, ProcessLookupError):
        return False
    return status.rpartition(")")[2].split()[0] not in "ZX"
