"""What a person meets when something goes wrong in a take.

Truth: known input. Each fault is planted in the room, the server, the disk or the command
itself; what must remain is a clear sentence, the exit status that docs/take.md names, what
was recorded until then, silence, and no process. ``--faults-table FILE`` writes what was
seen as a page.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from program import IDLE_CLIENTS, ROOMBOX, SHORT, UNASKED, Ended, Program, interrupt, see_it_quiet
from sound_rig import Rig, open_rig
from sound_server import wait_until

FIRST = "at 20000"
SECOND = "at 20000 of 2"
"""Well inside the first or second pass of a second each."""

PLANTED_MM = 5 / 48_000 * 343_200
"""At 20 °C, which a take assumes."""

thorough = pytest.mark.thorough

Seen = Callable[..., None]


def furnish(rig: Rig) -> None:
    """Put an invented pair into the room: left 5 samples late, a tail of 0.25 s, some noise."""
    rate_hz = rig.sample_rate_hz
    time_s = np.arange(round(0.3 * rate_hz)) / rate_hz
    tail = np.random.default_rng(4).standard_normal((2, time_s.size))
    heard = np.where(time_s > 0.012, 0.02 * tail * np.exp(-6.9 * time_s / 0.25), 0)
    heard[[0, 1], [245, 240]] += 0.5
    rig.furnish(heard)
    rig.tell("noise 1e-4 1")


@pytest.fixture
def program(rig: Rig, tmp_path: Path) -> Iterator[Program]:
    """Give the program, on a furnished rig that must be quiet afterwards."""
    furnish(rig)
    yield Program(rig, tmp_path)
    rig.tell("return")
    see_it_quiet(rig)


def arrival_mm(program: Program, name: str = "a") -> float:
    """Return left minus right of a take."""
    text = (program.folder / name / "reading.json").read_text(encoding="utf-8")
    return json.loads(text)["arrival"]["left_minus_right_mm"]


def refused(ended: Ended, *words: str) -> str:
    """See that a command ended with one error for a person, and return it."""
    assert ended.status == 2, ended
    assert "Traceback" not in ended.err
    error = ended.err[ended.err.rindex("Error: ") :].strip()
    assert "\n" not in error
    assert all(word in error for word in words), error
    return error


@thorough
def test_no_such_device(program: Program, seen: Seen) -> None:
    ended = program.take("a", "--play", "nosuch")
    seen("the device named isn't there", ended, refused(ended, "nosuch", "roombox"))
    assert not list(program.folder.glob("a*"))


@thorough
def test_no_sound_server(program: Program, seen: Seen) -> None:
    program.environment["JACK_DEFAULT_SERVER"] = "nobody"
    ended = program.take("a")
    seen("no sound system runs", ended, refused(ended, "no device"))


@thorough
def test_a_rate_that_the_device_refuses(program: Program, seen: Seen) -> None:
    ended = program.take("a", "--rate", "44100")
    seen("the device doesn't take the rate", ended, refused(ended, "44100 Hz", "--rate"))


@thorough
def test_a_name_that_is_taken(program: Program, rig: Rig, seen: Seen) -> None:
    kept = program.folder / "a"
    kept.mkdir()
    ended = program.take("a")
    seen("a take of that name is there", ended, refused(ended, "another name"))
    assert not rig.heard()
    assert not list(kept.iterdir())


def test_the_server_is_killed_in_mid_take(tmp_path: Path, seen: Seen) -> None:
    with open_rig(48_000, tmp_path) as rig:
        furnish(rig)
        rig.tell(f"tell now {FIRST}")
        program = Program(rig, tmp_path)
        taking = program.start_take("a")
        rig.await_event("now")
        os.kill(rig.server_pid, signal.SIGKILL)
        ended = program.finish(taking)
    error = refused(ended, "stopped in the middle", "a.unfinished")
    reason, recording = program.unfinished("a")
    assert reason in error
    assert np.ptp(recording) > 0.01
    seen("the sound server dies in mid-take", ended, error, recording)


def test_a_stall_that_costs_samples(program: Program, rig: Rig, seen: Seen) -> None:
    # In real time: the driver's watch runs by the clock, and so does playing a pass again.
    rig.tell("freewheel off")
    rig.tell(f"stall 0.5 {SECOND}")
    rig.tell(f"drop 480 {SECOND}")
    ended = program.take("a")
    assert ended.status == 0, ended
    assert arrival_mm(program) == pytest.approx(PLANTED_MM, abs=0.5)
    said = " ".join(ended.out.split())
    assert "480 samples missing" in said
    assert "Pass 2 was spoilt and played again" in said
    assert len(rig.heard()) == 5
    words = said[said.index("Warning, dropout") :].split(" Sound level at the")[0]
    seen("everything stalls for 0.5 s, and 480 samples vanish", ended, f"The reading; {words}")


def test_the_input_clips(program: Program, rig: Rig, seen: Seen) -> None:
    # In real time, to see that the sound was stopped inside the pass.
    rig.tell("freewheel off")
    rig.tell(f"gain 1000 {FIRST}")
    ended = program.take("a")
    error = refused(ended, "clipped", "gain", "a.unfinished")
    reason, recording = program.unfinished("a")
    assert reason in error
    assert recording.max() == 1
    (sound,) = rig.heard()
    assert sound["end"] - sound["start"] < 0.9 * 48_000
    seen("the microphone's input clips in mid-take", ended, error, recording)


@pytest.mark.parametrize("fault", [pytest.param("mute microphone", marks=thorough), "leave"])
def test_the_input_goes_dead(program: Program, rig: Rig, fault: str, seen: Seen) -> None:
    names = {
        "mute microphone": "the microphone goes dead in mid-take",
        "leave": "the device is unplugged in mid-take",
    }
    rig.tell(f"{fault} {SECOND}")
    ended = program.take("a")
    error = refused(ended, "digital silence", "a.unfinished")
    reason, recording = program.unfinished("a")
    assert reason in error
    assert np.ptp(recording) > 0.01
    seen(names[fault], ended, error, recording)


def test_unplugged_and_back(program: Program, rig: Rig, seen: Seen) -> None:
    rig.tell("leave")
    rig.await_event("left")
    ended = program.take("a")
    seen("the device was unplugged before", ended, refused(ended, "'roombox'"))
    assert not list(program.folder.glob("a*"))
    rig.tell("return")
    furnish(rig)
    assert program.take("a").status == 0
    assert arrival_mm(program) == pytest.approx(PLANTED_MM, abs=0.5)


def test_a_silent_input(program: Program, rig: Rig, seen: Seen) -> None:
    rig.tell("noise 0")
    rig.tell("mute microphone")
    ended = program.run("take", "a", *ROOMBOX, *UNASKED, *SHORT)
    error = refused(ended, "digital silence", "apexline devices")
    seen("the microphone is muted from the start", ended, error)
    assert not rig.heard()
    assert not list(program.folder.glob("a*"))


@pytest.mark.parametrize(
    ("fault", "answer", "name", "words"),
    [
        ("swap", "r\n", "left and right are exchanged", "exchange the two plugs"),
        pytest.param("mute left", "n\n", "a loudspeaker doesn't sound", "cable", marks=thorough),
    ],
)
def test_the_person_hears_the_wrong_loudspeaker(
    program: Program, rig: Rig, fault: str, answer: str, name: str, words: str, seen: Seen
) -> None:
    rig.tell(fault)
    asked = (*ROOMBOX, *SHORT, "--accept-cautions", "--countdown", "0")
    # Told once more, as a wrong answer is asked about again.
    twice = (answer, answer)
    ended = program.converse("take", "a", *asked, prompt="Which sounded?", answers=twice)
    seen(name, ended, refused(ended, "left", words))
    assert not list(program.folder.glob("a*"))


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """Give a disk with room for the programme and 5 s of recording; only root may have one."""
    folder = tmp_path / "small disk"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=4400k", "tmpfs", str(folder)]
    if os.getuid() != 0 or subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("a small disk can't be mounted here")
    yield folder
    subprocess.run(["umount", str(folder)], check=True)


def test_the_disk_is_full(program: Program, small_disk: Path, seen: Seen) -> None:
    ended = program.take("a", "--log", small_disk.name)
    error = refused(ended, "disk is full", "a.unfinished")
    _, recording = program.unfinished("a", small_disk)
    assert recording.shape[1] > 48_000
    seen("the disk is full in mid-take", ended, error, recording)


@thorough
def test_a_file_may_not_grow(program: Program, rig: Rig) -> None:
    # The same without being root: from the first pass on no file may pass half a megabyte. The
    # programme, which is larger, is on the disk before.
    resource = pytest.importorskip("resource")
    rig.tell("freewheel off")
    rig.tell(f"tell now {FIRST}")
    taking = program.start_take("a")
    rig.await_event("now")
    resource.prlimit(taking.pid, resource.RLIMIT_FSIZE, (500_000, 500_000))
    ended = program.finish(taking)
    refused(ended, "a.unfinished")
    assert program.unfinished("a")[1].shape[1] > 48_000


@pytest.mark.parametrize(
    "moment",
    ["the start", pytest.param("the level check", marks=thorough), "a sweep", "the reading"],
)
def test_control_c(program: Program, rig: Rig, moment: str, seen: Seen) -> None:
    checking = moment == "the level check"
    if moment == "a sweep":
        rig.tell("freewheel off")
    rig.tell(f"tell now {'at 2000' if checking else SECOND}")
    more = () if checking else ("--level", "-30")
    taking = program.start("take", "a", *ROOMBOX, *UNASKED, *SHORT, *more)
    if moment == "the start":
        maps = Path(f"/proc/{taking.pid}/maps")
        wait_until(lambda: "numpy" in maps.read_text())
    else:
        rig.await_event("now")
    if moment == "the reading":
        wait_until(lambda: rig.clients() <= IDLE_CLIENTS)
    interrupt(taking)
    ended = program.finish(taking)
    assert ended.status == 130, ended
    assert "Traceback" not in ended.err
    recording = None
    if moment == "a sweep":
        sound = rig.heard()[-1]
        assert sound["end"] - sound["start"] < 0.9 * 48_000
    if moment in ("a sweep", "the reading"):
        reason, recording = program.unfinished("a")
        assert reason.startswith("interrupted")
        assert np.ptp(recording) > 0.01
    seen(f"Ctrl-C in {moment}", ended, ended.last_words, recording)


def test_a_key_stops_it(program: Program, rig: Rig, seen: Seen) -> None:
    # In real time, with a terminal: the pass that sounds is cut short.
    rig.tell("freewheel off")
    rig.tell(f"tell now {FIRST}")
    keyboard, terminal = os.openpty()
    taking = program.start_take("a", stdin=terminal)
    os.close(terminal)
    rig.await_event("now")
    os.write(keyboard, b" ")
    ended = program.finish(taking)
    os.close(keyboard)
    assert ended.status == 130, ended
    assert "topped by a key" in ended.last_words
    recording = program.unfinished("a")[1]
    (sound,) = rig.heard()
    assert sound["end"] - sound["start"] < 0.9 * 48_000
    seen("a key is pressed in a sweep", ended, ended.last_words, recording)


def test_a_second_program_may_not_play_at_once(program: Program, rig: Rig, seen: Seen) -> None:
    # Known input: a take in real time, and a second one while it sounds, which is told whose
    # the sound is and makes none. Then the first is killed, and a new one may play at once.
    rig.tell("freewheel off")
    rig.tell(f"tell now {FIRST}")
    first = program.start_take("a")
    rig.await_event("now")
    ended = program.take("b")
    error = refused(ended, "apexline take a", f"process {first.pid}", "too loud")
    seen("another take plays already", ended, error.replace(f"process {first.pid}", "process 4711"))
    assert not list(program.folder.glob("b*"))
    first.kill()
    assert program.finish(first).status == -signal.SIGKILL
    rig.tell("freewheel on")
    assert program.take("c").status == 0
    assert arrival_mm(program, "c") == pytest.approx(PLANTED_MM, abs=0.5)


@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP"])
def test_the_system_ends_it(program: Program, rig: Rig, name: str, seen: Seen) -> None:
    # In real time: the pass that sounds is cut short.
    rig.tell("freewheel off")
    rig.tell(f"tell now {FIRST}")
    taking = program.start_take("a")
    rig.await_event("now")
    os.kill(taking.pid, getattr(signal, name))
    ended = program.finish(taking)
    assert ended.status == 130, ended
    assert "Traceback" not in ended.err
    recording = program.unfinished("a")[1]
    (sound,) = rig.heard()
    assert sound["end"] - sound["start"] < 0.9 * 48_000
    seen(f"the system sends {name} in a sweep", ended, ended.last_words, recording)


def test_a_killed_take_is_read_and_completed(program: Program, rig: Rig, seen: Seen) -> None:
    # In real time: killed in the fourth pass, when three tell the difference.
    rig.tell("freewheel off")
    rig.tell("tell now at 20000 of 4")
    taking = program.start_take("a")
    rig.await_event("now")
    taking.kill()
    ended = program.finish(taking)
    assert ended.status == -signal.SIGKILL
    recording = program.unfinished("a")[1]
    kept = (program.folder / "a.unfinished" / "recording.wav").read_bytes()
    ended = program.run("read", "a.unfinished", "--brief")
    assert ended.status == 0, ended
    words = " ".join(ended.out.split()).partition(". ")[0] + "."
    assert words.startswith("The take was interrupted")  # before what the checks find missing
    seen("a take is killed in a sweep, and `apexline read a.unfinished`", ended, words, recording)
    assert program.run("log", "finish", "a").status == 0
    assert (program.folder / "a" / "recording.wav").read_bytes() == kept
    assert arrival_mm(program) == pytest.approx(PLANTED_MM, abs=0.5)
