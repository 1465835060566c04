"""The program as a person starts it: a process with a time limit, in the rig's environment."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tomllib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import soundfile as sf
from sound_rig import ROOT, Rig
from sound_server import is_running, wait_until

PATIENCE_S = 90.0

APEXLINE = (sys.executable, "-m", "measure")
ROOMBOX = ("--play", "roombox", "--record", "roombox")
IDLE_CLIENTS = {"system", "roombox"}
"""Who is on the server when nothing runs."""

UNASKED = ("--yes", "--accept-cautions", "--countdown", "0")
"""Nothing is asked and nothing waited for."""

SHORT = ("--seconds", "1")
"""Sweeps as short as a take still makes something of."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Ended:
    """What a command left.

    Attributes
    ----------
    command : str
        As a person would type it.
    status : int
        Exit status.
    out, err : str
    """

    command: str
    status: int
    out: str
    err: str

    @property
    def last_words(self) -> str:
        """The last line of standard error."""
        return self.err.strip().splitlines()[-1].strip() if self.err.strip() else ""


class Program:
    """Commands that work in one folder, through one rig.

    Parameters
    ----------
    rig : Rig
    folder : Path
        Where takes go; the person's settings lie beside them.
    """

    def __init__(self, rig: Rig, folder: Path) -> None:
        self.rig, self.folder = rig, folder
        self.environment = rig.environment | {
            "APEXLINE_HOME": str(folder / "home"),
            "PYTHONPATH": str(ROOT),
            "COLUMNS": "80",
        }

    def start(self, *arguments: str, **how: Any) -> subprocess.Popen[str]:
        """Start a command in a session of its own, in which nothing may be left."""
        # No pipe to standard input: where one ends in the middle, the sound is stopped.
        pipes = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
        return subprocess.Popen(
            self.rig.command(*APEXLINE, *arguments),
            env=self.environment,
            cwd=self.folder,
            text=True,
            start_new_session=True,
            # A shell's background job ignores Control-C, and so would what it starts.
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
            **(pipes | how),
        )

    def finish(self, process: subprocess.Popen[str], answers: str = "") -> Ended:
        """Wait for a command's end, and see that nothing of it is left."""
        try:
            out, err = process.communicate(answers, timeout=PATIENCE_S)
        except subprocess.TimeoutExpired:
            process.kill()
            out, err = process.communicate()
            msg = f"it hung after {PATIENCE_S:g} s, having said {out!r} and {err!r}"
            raise AssertionError(msg) from None
        assert not session(process.pid), "processes of the command were left running"
        words = process.args[len(self.rig.command(*APEXLINE)) :]
        command = " ".join(["apexline", *words])
        return Ended(command=command, status=process.returncode, out=out, err=err)

    def run(self, *arguments: str, answers: str = "", **how: Any) -> Ended:
        """Run a command to its end."""
        typed = {"stdin": subprocess.PIPE} if answers else {}
        return self.finish(self.start(*arguments, **(typed | how)), answers)

    def converse(self, *arguments: str, prompt: str, answers: tuple[str, ...]) -> Ended:
        """Run a command in a terminal, and type an answer whenever it asks."""
        keyboard, terminal = os.openpty()
        said = self.folder / "said.txt"
        with said.open("w", encoding="utf-8") as err:
            process = self.start(*arguments, stdin=terminal, stderr=err)
        os.close(terminal)
        for number, answer in enumerate(answers, start=1):
            wait_until(lambda n=number: said.read_text().count(prompt) >= n or has_ended(process))
            os.write(keyboard, answer.encode())
        ended = self.finish(process)
        os.close(keyboard)
        return replace(ended, err=said.read_text())

    def take(self, name: str, *more: str, answers: str = "", **how: Any) -> Ended:
        """Make a take at a given level, with nothing asked."""
        options = (*ROOMBOX, *UNASKED, *SHORT, "--level", "-30")
        return self.run("take", name, *options, *more, answers=answers, **how)

    def start_take(self, name: str, *more: str, **how: Any) -> subprocess.Popen[str]:
        """Start the same, to meddle with it."""
        options = (*ROOMBOX, *UNASKED, *SHORT, "--level", "-30")
        return self.start("take", name, *options, *more, **how)

    def unfinished(self, name: str, log: Path | None = None) -> tuple[str, np.ndarray]:
        """Return why a take stayed unfinished, and its recording, which must be readable."""
        log = log or self.folder
        assert not (log / name).exists()
        folder = log / f"{name}.unfinished"
        assert not (folder / "take.toml").exists()
        reason = tomllib.loads((folder / "unfinished.toml").read_text(encoding="utf-8"))["reason"]
        samples, rate_hz = sf.read(folder / "recording.wav", always_2d=True)
        assert rate_hz == self.rig.sample_rate_hz
        return reason, samples.T


def has_ended(process: subprocess.Popen[str]) -> bool:
    """Whether a process of ours has ended."""
    return process.poll() is not None


def session(pid: int) -> list[int]:
    """Return the running processes of a session."""
    running = []
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            fields = (folder / "stat").read_text(errors="replace").rpartition(")")[2].split()
        except (FileNotFoundError, ProcessLookupError):
            continue
        if int(fields[3]) == pid and is_running(int(folder.name)):
            running.append(int(folder.name))
    return running


def interrupt(process: subprocess.Popen[str]) -> None:
    """Press Ctrl-C."""
    os.kill(process.pid, signal.SIGINT)


def see_it_quiet(rig: Rig) -> None:
    """See that nothing plays any more, and that no client is left on the server."""
    wait_until(lambda: rig.clients() <= IDLE_CLIENTS)
    before = rig.heard()
    frame = rig.frame()
    wait_until(lambda: rig.frame() > frame + 4096)
    assert rig.heard() == before
