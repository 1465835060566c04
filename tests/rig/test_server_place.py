"""A rig starts whatever killed servers left, and leaves what isn't its own.

Truth: known input. Servers are killed on a machine made up for the test: a folder that only
what runs on it sees as ``/dev/shm``. JACK itself says what it registered.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack, closing
from pathlib import Path

import pytest
from server_place import POOL_SIZE, enter, take_place, way_to_mount
from sound_rig import need_packages, open_rig
from sound_server import end, is_running, wait_until

JACKS_PLACES = 8

OPEN_A_RIG = """\
import pathlib, sys, sound_rig
shared = sys.argv[2] == "shared"
with sound_rig.open_rig(48_000, pathlib.Path(sys.argv[1]), shared=shared) as rig:
    print(rig.place.name, *sorted(rig.clients()), *rig.pids, flush=True)
    sys.stdin.read()
"""

HOLD_A_NAME = """\
import pathlib, sys, server_place
with server_place.take_place(shared=True, within=pathlib.Path(sys.argv[1])) as place:
    print(place.name, flush=True)
    sys.stdin.read()
"""


class Machine:
    """A machine's shared memory, and what other runs left in it."""

    def __init__(self, folder: Path) -> None:
        self.memory, self.folder = folder / "memory", folder
        self.memory.mkdir()
        self._started: list[subprocess.Popen[str]] = []

    def start(self, *command: str) -> subprocess.Popen[str]:
        """Start a command on it."""
        process = subprocess.Popen(
            [*enter(self.memory, way_to_mount()), *command],
            env=os.environ | {"PYTHONPATH": str(Path(__file__).parent)},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        self._started.append(process)
        return process

    def close(self) -> None:
        """End what still runs on it, as after a test that failed."""
        for process in self._started:
            if process.poll() is None:
                end(process)
                process.communicate()

    def start_server(self, name: str) -> subprocess.Popen[str]:
        """Start a server as another run would, and wait until it can be joined."""
        server = self.start("jackd", "-r", "-n", name, "-p", "64", "-d", "dummy")
        files = (f"jack_{name}_*", f"jack_sem.*_{name}_system", f"jack_sem.*_{name}_freewheel")
        wait_until(lambda: all(map(list, map(self.memory.glob, files))) or server.poll())
        assert server.poll() is None
        return server

    def kill_servers(self, n_servers: int) -> None:
        """Leave what so many killed servers of other runs leave."""
        for number in range(n_servers):
            server = self.start_server(f"other-{number}")
            server.kill()
            server.communicate()

    def open_rig(self, how: str) -> subprocess.Popen[str]:
        """Open a rig, ``shared`` or ``alone``, that is closed when its input ends."""
        return self.start(sys.executable, "-c", OPEN_A_RIG, str(self.folder), how)

    def others(self) -> set[tuple[str, int]]:
        """Return the files of other runs' servers; a running one itself writes to them."""
        return {(path.name, path.stat().st_ino) for path in self.memory.glob("jack*other-*")}

    def registered(self) -> set[str]:
        """Return which names JACK's registry holds."""
        registry = (self.memory / "jack-shm-registry").read_bytes()
        names = [f"other-{number}" for number in range(JACKS_PLACES)] + ["rig-0", "rig-1"]
        return {name for name in names if f":{name}:".encode() in registry}


@pytest.fixture
def machine(tmp_path: Path) -> Iterator[Machine]:
    """Give a machine on which nothing ran yet."""
    need_packages()
    if not way_to_mount():
        pytest.skip("no folder can be mounted as /dev/shm here")
    with closing(Machine(tmp_path)) as made_up:
        yield made_up


def test_it_starts_after_eight_killed_servers(machine: Machine) -> None:
    machine.kill_servers(JACKS_PLACES)
    others, registered = machine.others(), machine.registered()
    assert len(registered) == JACKS_PLACES
    said, problem = machine.open_rig("alone").communicate(timeout=60)
    assert said.split()[:3] == ["rig-0", "roombox", "system"], problem
    assert machine.others() == others
    assert machine.registered() == registered


def test_the_servers_words_are_in_the_error(machine: Machine) -> None:
    # In the machine's own memory none can start, and JACK says why.
    machine.kill_servers(JACKS_PLACES)
    others, registered = machine.others(), machine.registered()
    rig = machine.open_rig("shared")
    said, problem = rig.communicate(timeout=60)
    assert (rig.returncode, said) == (1, "")
    assert "the room has ended" in problem
    assert "Too many servers already active" in problem
    assert machine.others() == others
    assert machine.registered() == registered


def test_a_killed_rigs_name_is_taken_again(machine: Machine) -> None:
    # The first rig takes the last of JACK's places and is killed, all of it. Then there is no
    # place but the one that it left.
    machine.kill_servers(JACKS_PLACES - 1)
    others, registered = machine.others(), machine.registered()
    killed = machine.open_rig("shared")
    name, *_, room, server = killed.stdout.readline().split()
    for pid in (killed.pid, int(room), int(server)):
        os.kill(pid, signal.SIGKILL)
    killed.communicate()
    wait_until(lambda: not is_running(int(server)))
    assert machine.registered() == registered | {name}
    assert list(machine.memory.glob(f"jack_{name}_*"))
    said, problem = machine.open_rig("shared").communicate(timeout=60)
    assert said.split()[:3] == [name, "roombox", "system"], problem
    assert not list(machine.memory.glob(f"jack*{name}_*"))
    assert machine.others() == others
    assert machine.registered() == registered


@pytest.mark.parametrize("how", ["alone", "shared"])
def test_a_running_server_is_left_alone(machine: Machine, how: str) -> None:
    other = machine.start_server("other-0")
    others = machine.others()
    said, problem = machine.open_rig(how).communicate(timeout=60)
    assert "roombox" in said, problem
    assert other.poll() is None
    assert machine.others() == others
    end(other)
    assert other.returncode == 0
    other.communicate()


def test_a_killed_room_is_told_with_its_servers_words(tmp_path: Path) -> None:
    with open_rig(48_000, tmp_path) as rig:
        os.kill(rig.process.pid, signal.SIGKILL)
        with pytest.raises(AssertionError, match=r"(?s)room has ended.*JACK server starting"):
            rig.tell("frame")


def test_no_two_have_one_name(tmp_path: Path) -> None:
    # Known input: as many as there are, then one more, then one that is free again.
    with ExitStack() as held:
        last = held.enter_context(ExitStack())
        names = [
            (held if number else last).enter_context(take_place(shared=True, within=tmp_path)).name
            for number in range(POOL_SIZE)
        ]
        assert sorted(set(names)) == sorted(names)
        with (
            pytest.raises(TimeoutError, match=f"all {POOL_SIZE} sound servers"),
            take_place(shared=True, within=tmp_path, wait_s=0.2),
        ):
            pass
        last.close()
        with take_place(shared=True, within=tmp_path, wait_s=0) as place:
            assert place.name == names[0]


def test_another_processs_name_is_free_when_it_is_killed(tmp_path: Path) -> None:
    command = [sys.executable, "-c", HOLD_A_NAME, str(tmp_path)]
    where = os.environ | {"PYTHONPATH": str(Path(__file__).parent)}
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
    with subprocess.Popen(command, env=where, text=True, **pipes) as other:
        name = other.stdout.readline().strip()
        with take_place(shared=True, within=tmp_path) as place:
            assert place.name != name
        other.kill()
    with take_place(shared=True, within=tmp_path) as place:
        assert place.name == name
