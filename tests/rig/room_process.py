"""The rig's room as a process: a JACK client that stands between loudspeakers and microphone.

Run by path, with JACK-Client installed and ``JACK_DEFAULT_SERVER`` naming the server that
it starts, and ends after itself: ``python tests/rig/room_process.py SAMPLE_RATE
RESPONSES.npz``, where the array ``responses`` has shape (2, n). Its first line is
``event ready PID``, with the server's process id. Client ``roombox`` has the inputs ``left``
and ``right`` and the outputs ``microphone`` and ``reference``. One line of standard input is
one command, answered by one line, ``ok ...`` or ``error ...``; ``event ...`` lines come by
themselves.

A command may end in ``at N`` (frames into a sound) and ``of K`` (the K-th sound that lasts
so long, 1 by default); it then answers at once and acts there. Without ``at`` it acts now.

========================  =================================================================
``responses PATH``        take other responses, and reset
``noise RMS [SEED]``      noise at the microphone, and reset
``reset``                 forget sounds and faults
``freewheel on|off``      as fast as it goes, or in real time
``heard``                 the sounds since the reset, as JSON
``frame``                 how many frames went by since the reset
``clients``               who is on the server
``gain FACTOR``           of the microphone, before full scale cuts it off
``swap``                  exchange the loudspeakers
``invert left|right``     turn a loudspeaker's polarity
``mute left|right|microphone``
``drop N``, ``blank N``   lose N frames, or put zeros there
``stall SECONDS``         stop answering the server
``tell WORD``             print ``event WORD``
``leave``, ``return``     be unplugged, and back (``event left`` when it is done)
``quit``                  end
========================  =================================================================
"""

from __future__ import annotations

import json
import os
import queue
import signal
import sys
import threading
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import asdict
from functools import partial

import jack
import numpy as np
from room_model import Plan, Room
from sound_server import SoundServer

CLIENT = "roombox"
LEAVE = "now leave"
LEAVE_WITHIN_S = 2
IDLE_S = 0.02
"""For each block of freewheeling while nobody plays: the program to come needs the time."""

FOREVER = 2**62
SIDES = {"left": 0, "right": 1}


def say(line: str) -> None:
    """Print one line, whole and at once."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def load(path: str) -> np.ndarray:
    """Read the responses."""
    with np.load(path) as archive:
        return np.asarray(archive["responses"], dtype=np.float64)


def wiring(name: str, side: str) -> np.ndarray:
    """Return the matrix from what was played to what the loudspeakers get."""
    if name == "swap":
        return np.array([[0.0, 1.0], [1.0, 0.0]])
    matrix = np.eye(2)
    matrix[SIDES[side], SIDES[side]] = -1 if name == "invert" else 0
    return matrix


def hold_up(duration_s: float, _offset: int) -> None:
    """Let the server wait for us."""
    time.sleep(duration_s)


class RoomClient:
    """The room, its JACK client, and the commands to both."""

    def __init__(self, responses: np.ndarray) -> None:
        self.lines: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._lock = threading.Lock()
        self._failed = self._freewheels = False
        self._join()
        self._room = Room(responses, self._client.blocksize, self._client.samplerate)
        self._client.activate()

    def _join(self) -> None:
        self._client = jack.Client(CLIENT, no_start_server=True)
        self._inputs = [self._client.inports.register(side) for side in SIDES]
        self._outputs = [
            self._client.outports.register(name) for name in ("microphone", "reference")
        ]
        self._client.set_process_callback(self._process)
        self._client.set_shutdown_callback(self._shut_down)
        self._joined = True

    def _process(self, n_frames: int) -> None:  # noqa: ARG002
        if self._failed:
            return
        if self._freewheels and not any(port.number_of_connections for port in self._inputs):
            time.sleep(IDLE_S)
        try:
            with self._lock:
                heard = np.stack([port.get_array() for port in self._inputs])
                delivered = self._room.process(heard.astype(np.float64))
                for port, channel in zip(self._outputs, delivered, strict=True):
                    port.get_array()[:] = channel
        except Exception as problem:
            self._failed = True
            say(f"event failed {problem!r}")

    def _shut_down(self, status: jack.Status, reason: str) -> None:  # noqa: ARG002
        self._joined = False
        say("event server-gone")
        self.lines.put("quit")

    def serve(self) -> None:
        """Answer commands until told to quit, or the server has gone."""
        while (line := self.lines.get()) != "quit":
            if line == LEAVE:
                self._leave()
                say("event left")
                continue
            try:
                say(f"ok {self._command(line.split())}".rstrip())
            except (ValueError, KeyError, IndexError, OSError, jack.JackError) as problem:
                say(f"error {line}: {problem!r}")
        self._leave()

    def _leave(self) -> None:
        """Leave the server; one that has gone would keep us waiting for ever."""
        if self._joined:
            signal.alarm(LEAVE_WITHIN_S)
            self._client.close()
            signal.alarm(0)
        self._joined = False

    def _command(self, words: list[str]) -> str:
        """Do one command, and return what to answer."""
        name, *rest = words
        if name == "return":
            if not self._joined:
                self._room.reset()
                self._join()
                self._client.activate()
        elif name == "freewheel":
            self._set_freewheel({"on": True, "off": False}[rest[0]])
        elif name == "heard":
            with self._lock:
                return json.dumps([asdict(sound) for sound in self._room.sounds])
        elif name == "frame":
            return str(self._room.frame)
        elif name == "clients":
            return " ".join({port.name.split(":")[0] for port in self._client.get_ports()})
        elif name in ("responses", "noise", "reset"):
            self._set_up(name, rest)
        else:
            self._plan(words)
        return ""

    def _set_freewheel(self, on: bool) -> None:
        """Change the server's mode; it refuses the one that it is in."""
        if on != self._freewheels:
            self._client.set_freewheel(on)
        self._freewheels = on

    def _set_up(self, name: str, rest: list[str]) -> None:
        responses = load(rest[0]) if name == "responses" else self._room.responses
        with self._lock:
            self._room.responses = responses
            if name == "noise":
                self._room.noise_rms = float(rest[0])
                self._room.seed = int(rest[1]) if len(rest) > 1 else 0
            self._room.reset()

    def _plan(self, words: list[str]) -> None:
        """Note a fault for its moment, or for the next block."""
        moment = words.index("at") if "at" in words else len(words)
        at_frame, nth_sound = None, 1
        if when := words[moment + 1 :]:
            at_frame = int(when[0])
            nth_sound = int(when[2]) if when[1:2] == ["of"] else 1
        elif "at" in words:
            msg = "at which frame?"
            raise ValueError(msg)
        act = self._fault(*words[:moment])
        with self._lock:
            self._room.plans.append(Plan(act=act, at_frame=at_frame, nth_sound=nth_sound))

    def _fault(self, name: str, value: str = "") -> Callable[[int], None]:
        """Return what a fault does, given the offset within the block."""
        room = self._room
        match name:
            case "drop":
                return partial(room.drop, int(value))
            case "blank":
                return partial(room.blank, int(value))
            case "gain":
                return partial(room.amplify, float(value))
            case "mute" if value == "microphone":
                return partial(room.amplify, 0.0)
            case "swap" | "invert" | "mute":
                return partial(room.wire, wiring(name, value))
            case "stall":
                return partial(hold_up, float(value))
            case "tell":
                return lambda _offset: say(f"event {value}")
            case "leave":
                return self._unplug
        msg = "there is no such command"
        raise ValueError(msg)

    def _unplug(self, offset: int) -> None:
        """Deliver no more, and leave the server from the main thread."""
        self._room.blank(FOREVER, offset)
        self.lines.put(LEAVE)


def read_lines(lines: queue.SimpleQueue[str]) -> None:
    """Pass on standard input; its end is the end."""
    for line in sys.stdin:
        if line.strip():
            lines.put(line.strip())
    lines.put("quit")


def main() -> None:
    """Start the server and join it, say so, and serve."""
    server = SoundServer(os.environ["JACK_DEFAULT_SERVER"], int(sys.argv[1]))
    with closing(server):
        client = RoomClient(load(sys.argv[2]))
        signal.signal(signal.SIGTERM, lambda _number, _frame: client.lines.put("quit"))
        threading.Thread(target=read_lines, args=(client.lines,), daemon=True).start()
        say(f"event ready {server.process.pid}")
        client.serve()


if __name__ == "__main__":
    main()
