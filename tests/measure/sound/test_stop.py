"""What stops the sound besides a key: signals, and the end of a program that started this one."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from measure.errors import StoppedError
from measure.files.system import has_input_ended
from measure.sound.keys import Keys
from measure.sound.stop import Stop, catch_signals
from measure.sound.watch import stop_if_asked

ROOT = Path(__file__).parents[3]

pytestmark = pytest.mark.skipif(os.name == "nt", reason="signals and pipes of POSIX")


def test_the_first_reason_stays() -> None:
    stop = Stop()
    stop.raise_if_asked()
    stop.ask("the first")
    stop.ask("the second")
    with pytest.raises(StoppedError, match="the first"):
        stop.raise_if_asked()


@pytest.mark.parametrize(
    ("name", "reason"), [("SIGTERM", "by the system"), ("SIGHUP", "terminal was closed")]
)
def test_a_signal_asks_and_does_nothing_else(name: str, reason: str) -> None:
    # Known input: the signal itself, sent to this process; it goes on until it looks.
    number = getattr(signal, name)
    before = signal.getsignal(number)
    with Keys() as keys:
        os.kill(os.getpid(), number)
        assert reason in keys.stop.reason
        with pytest.raises(StoppedError, match=reason):
            stop_if_asked(keys)
    assert signal.getsignal(number) is before


def test_a_signal_that_is_ignored_stays_so() -> None:
    # Known input: as `nohup` starts a program.
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        restore = catch_signals(Stop())
        assert signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
        restore()
        assert signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGHUP, before)


@pytest.fixture
def pipe(monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """Give the process a pipe as its standard input, and its other end, which the test closes."""
    reading, writing = os.pipe()
    with os.fdopen(reading, "r") as stdin:
        monkeypatch.setattr(sys, "stdin", stdin)
        yield writing


def test_the_end_of_the_pipe_that_started_it_asks(pipe: int) -> None:
    # Known input: a pipe that is open at first, with something in it that nobody has read.
    with Keys() as keys:
        os.write(pipe, b"yes\n")
        stop_if_asked(keys)
        os.close(pipe)
        with pytest.raises(StoppedError, match="has gone"):
            stop_if_asked(keys)
    assert sys.stdin.readline() == "yes\n"


def test_a_pipe_that_had_ended_before_tells_nothing(pipe: int) -> None:
    # Known input: as `echo yes | apexline take ...` leaves it.
    os.close(pipe)
    assert has_input_ended()
    with Keys() as keys:
        stop_if_asked(keys)


def test_no_input_at_all_tells_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    # Known input: the null device, as under a timer of the system, and no standard input.
    with open(os.devnull) as nothing:  # noqa: PTH123
        monkeypatch.setattr(sys, "stdin", nothing)
        assert not has_input_ended()
    monkeypatch.setattr(sys, "stdin", None)
    assert not has_input_ended()
    with Keys() as keys:
        stop_if_asked(keys)


TAKE = (
    *(sys.executable, "-m", "measure", "take", "a", "--simulate", "--yes", "--accept-cautions"),
    *("--countdown", "0", "--seconds", "1", "--level", "-30"),
)


def taking(folder: Path, **how: object) -> subprocess.Popen[str]:
    """Start a take in the simulated room, by a real clock, and wait until it records."""
    process = subprocess.Popen(
        TAKE,
        cwd=folder,
        env=os.environ | {"PYTHONPATH": str(ROOT), "APEXLINE_HOME": str(folder / "home")},
        **({"stderr": subprocess.PIPE, "text": True} | how),
    )
    recording = folder / "a.unfinished" / "recording.wav"
    deadline_s = time.monotonic() + 60
    while not (recording.exists() and recording.stat().st_size > 200_000):
        assert process.poll() is None
        assert time.monotonic() < deadline_s
        time.sleep(0.05)
    return process


@pytest.mark.parametrize(
    ("ended_by", "told"),
    [("SIGTERM", "by the system"), ("SIGHUP", "terminal was closed"), ("end", "has gone")],
)
def test_a_take_that_is_stopped_keeps_what_was_recorded(
    ended_by: str, told: str, tmp_path: Path
) -> None:
    # Known input: a take in real time, ended from outside after a second. It ends by itself,
    # in one sentence, and what was recorded is there.
    process = taking(tmp_path, stdin=subprocess.PIPE)
    assert process.stdin is not None
    if ended_by == "end":
        process.stdin.close()
        process.stdin = None
    else:
        os.kill(process.pid, getattr(signal, ended_by))
    err = process.communicate(timeout=20)[1]
    assert process.returncode == 130, err
    assert told in err
    assert "that were recorded are kept in a.unfinished" in err
    assert "Traceback" not in err
    assert told in (tmp_path / "a.unfinished" / "unfinished.toml").read_text(encoding="utf-8")


def test_a_terminal_that_is_closed_ends_a_take(tmp_path: Path) -> None:
    # Known input: a real terminal, closed in the middle; nobody is left to be told.
    pty = pytest.importorskip("pty")
    script = (
        "import os, pty, sys\n"
        "pid, terminal = pty.fork()\n"
        "if pid == 0:\n"
        "    os.execv(sys.argv[1], sys.argv[1:])\n"
        "said = b''\n"
        "while b'left' not in said:\n"
        "    said += os.read(terminal, 4096)\n"
        "os.close(terminal)\n"
        "print(os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]))\n"
    )
    assert pty
    done = subprocess.run(
        [sys.executable, "-c", script, *TAKE],
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(ROOT), "APEXLINE_HOME": str(tmp_path / "home")},
        stdout=subprocess.PIPE,
        text=True,
        timeout=60,
        check=True,
    )
    assert int(done.stdout) == 130
    said = (tmp_path / "a.unfinished" / "unfinished.toml").read_text(encoding="utf-8")
    assert "terminal was closed" in said or "nobody reads" in said
