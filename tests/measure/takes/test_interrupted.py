"""Takes that were interrupted: killed at any moment, then read and completed.

Truth: the simulated room, whose loudspeakers stand where it says, and the recording that a take
left, whose bytes may never change again.
"""

from __future__ import annotations

import json
import math
import os
import subprocess
import sys
import time
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from short_take import AROUND, RATE_HZ, short, taken

from measure import cli
from measure.errors import DeviceLostError, StoppedError, TakeError
from measure.files.audio_files import fingerprint
from measure.files.system import VARIABLE
from measure.logbook.folder import new_logbook
from measure.sound.simulation.faults import Fault
from measure.sound.simulation.room import SimulatedRoom
from measure.sound.simulation.run import SimulatedRun
from measure.takes.conditions import MicrophoneFile, known_conditions
from measure.takes.folder import begin_take
from measure.takes.interrupted import finish_interrupted, read_any_take
from measure.takes.sheet import check_sound, read_sheet
from measure.takes.stored import read_take

ROOT = Path(__file__).parents[3]

SECOND_BYTES = 4 * RATE_HZ
"""Of a recording of one channel."""


class Killed(BaseException):
    """Ends a take where no program could tidy up after itself."""


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv(VARIABLE, str(tmp_path / "home"))
    return tmp_path


TAKE = (
    *(sys.executable, "-m", "measure", "take", "a", "--simulate", "--pace", "4", "--yes"),
    *("--accept-cautions", "--countdown", "0", "--seconds", "1", "--level", "-30"),
)


def kill_when(folder: Path, reached: Callable[[Path], bool], *more: str) -> Path:
    """Make a take in a process that is killed when its folder has come so far."""
    process = subprocess.Popen(
        [*TAKE, *more],
        cwd=folder,
        env=os.environ | {"PYTHONPATH": str(ROOT), VARIABLE: str(folder / "home")},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    takes = folder / "log" / "takes" if "--log" in more else folder
    path = takes / "a.unfinished"
    deadline_s = time.monotonic() + 90
    while not reached(path):
        assert process.poll() is None, process.communicate()
        assert time.monotonic() < deadline_s
        time.sleep(0.002)
    process.kill()
    process.communicate()
    return path


def recorded_s(least_s: float) -> Callable[[Path], bool]:
    """Return whether so much was recorded."""

    def reached(path: Path) -> bool:
        file = path / "recording.wav"
        return file.exists() and file.stat().st_size > least_s * SECOND_BYTES

    return reached


MOMENTS = {
    "before the first sample": lambda path: (path / "begun.toml").exists(),
    "in the first pass": recorded_s(1.5),
    "between the passes": recorded_s(5.5),
    "in the last pass": recorded_s(9.6),
    "in the reading": recorded_s(12.0),
}
PASSES_S = 9.5
"""From here on left and right were heard, and one of them again. The passes start at 1.0, 3.5,
6.5 and 9.0 s, and take a second."""


@pytest.mark.parametrize("moment", MOMENTS)
def test_a_killed_take_is_read_and_completed(
    moment: str, here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # Known input: kill -9 in the middle of a take, at a moment that its files tell.
    path = kill_when(here, MOMENTS[moment])
    assert (path / "unfinished.toml").exists()
    take = read_any_take(path)
    assert take.facts.level.level_dbfs == -30
    assert take.facts.take.name == "a"
    assert take.programme.order == "LRRL"
    check_sound(path / "programme.wav", read_sheet(path / "programme.wav")[1])
    before = (path / "recording.wav").read_bytes()
    n_frames = fingerprint(path / "recording.wav").n_frames

    status = cli.run(["read", str(path), "--brief", "--json", "read.json"])
    said = capsys.readouterr()
    assert "ended before the take was complete" in said.out + said.err
    # A pass that was recorded whole can be read; what ends before the first sweep can't.
    assert n_frames > RATE_HZ or status == 2
    assert n_frames < 4 * RATE_HZ or status == 0
    readable = status == 0
    assert not readable or said.out.startswith("The take was interrupted: ")
    if n_frames > PASSES_S * RATE_HZ:
        found = json.loads((here / "read.json").read_text(encoding="utf-8"))
        truth_mm = 1e3 * SimulatedRoom(pace=math.inf).path_difference_m
        assert found["arrival"]["left_minus_right_mm"] == pytest.approx(truth_mm, abs=0.5)
    assert (path / "recording.wav").read_bytes() == before

    status = cli.run(["log", "finish", "a"])
    said = capsys.readouterr()
    if not n_frames:
        assert status == 2
        assert "nothing was recorded" in said.err
        assert path.exists()
        return
    assert status == 0
    assert not path.exists()
    whole = read_take(here / "a")
    assert (here / "a" / "recording.wav").read_bytes() == before
    assert whole.recorded.n_frames == n_frames
    assert whole.facts.take.interrupted == "the program ended before the take was complete"
    assert whole.facts.driver is None
    assert (whole.reading is not None) == readable
    names = {file.name for file in (here / "a").iterdir()}
    assert names <= {
        *("recording.wav", "programme.wav", "programme.sheet.toml", "take.toml"),
        *("reading.json", "reading.ir.wav"),
    }


def test_a_take_is_on_the_disk_before_it_sounds(
    here: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Invariant: when the sound path starts, all is there that reads the recording, and each
    # of these files was brought to the disk, and the folders' names after them.
    from measure.takes import folder as folder_module

    synced: list[str] = []
    real = folder_module.sync_file
    monkeypatch.setattr(
        folder_module, "sync_file", lambda path: (synced.append(path.name), real(path))
    )

    class LookingRoom(SimulatedRoom):
        def start(self, *_: object, **__: object) -> SimulatedRun:
            (path,) = here.glob("*.unfinished")
            take = read_any_take(path)
            assert take.programme == short()
            assert (take.facts.take.pair, take.facts.take.place) == ("the small ones", "A")
            assert {"begun.toml", "programme.wav", "programme.sheet.toml"} <= set(synced)
            assert {"unfinished.toml", "recording.wav"} <= set(synced)
            raise Killed

    with pytest.raises(Killed):
        taken(LookingRoom(pace=math.inf), here)


def test_a_name_or_a_file_in_a_take_leads_to_its_folder(
    here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # Known input: the take's name for its folder, and the recording without its sweep.
    (here / "a.unfinished").mkdir()
    for name in ("programme.wav", "recording.wav"):
        (here / "a.unfinished" / name).touch()
    assert cli.run(["read", "a"]) == 2
    assert "a isn't there, but a.unfinished is" in capsys.readouterr().err
    assert cli.run(["read", "a.unfinished/recording.wav"]) == 2
    assert "read a.unfinished, which holds its sweep" in capsys.readouterr().err
    assert cli.run(["read", "b"]) == 2
    assert "Missing option '--sweep'" in capsys.readouterr().err


def test_a_pass_that_was_to_be_played_again_is_known(here: Path) -> None:
    # Known input: a cough in the second sweep, which is played again at the end, and a kill in
    # that fifth sweep. Its place is known although the sheet is still that of four.
    cough = Fault(kind="burst", at_s=short().starts_s[1] + 0.3, duration_s=0.5, amount_db=-35.0)

    class KilledRoom(SimulatedRoom):
        def wait(self, duration_s: float) -> None:
            super().wait(duration_s)
            if self.time_s() > 14.5:
                raise Killed

    with pytest.raises(Killed):
        taken(KilledRoom(pace=math.inf, faults=(cough,)), here)
    (path,) = here.glob("*.unfinished")
    deadline_s = time.monotonic() + 20
    while read_any_take(path).programme.order != "LRRLR":
        assert time.monotonic() < deadline_s
        time.sleep(0.05)
    (again,) = read_any_take(path).facts.programme.repeated
    assert (again.number, again.side) == (2, "R")
    kept, reading = finish_interrupted(released(path), AROUND)
    assert reading is not None
    whole = read_take(kept)
    assert whole.programme.order == "LRRLR"
    assert whole.facts.programme.planned_order == "LRRL"
    check_sound(kept / "programme.wav", read_sheet(kept / "programme.wav")[1])
    arrival = reading.reading.arrival
    assert arrival is not None
    truth_mm = 1e3 * SimulatedRoom(pace=math.inf).path_difference_m
    assert 1e3 * arrival.difference_m == pytest.approx(truth_mm, abs=0.5)


def released(path: Path) -> Path:
    """Let go of a take as the end of its process would: its lock's file is another one now."""
    (path / "in_use.lock").unlink()
    return path


def test_a_take_that_said_why_keeps_its_reason(here: Path) -> None:
    # Known input: a device that is lost after 9 s.
    room = SimulatedRoom(pace=math.inf, faults=(Fault(kind="stall", at_s=9.0),))
    with pytest.raises(DeviceLostError):
        taken(room, here)
    (path,) = here.glob("*.unfinished")
    kept, reading = finish_interrupted(path, AROUND)
    assert reading is not None
    assert kept == here / "near the wall"
    facts = read_take(kept).facts
    assert facts.take.interrupted is not None
    assert facts.take.interrupted.startswith("the simulated room stopped")


def test_an_earlier_take_of_the_name_is_never_replaced(here: Path) -> None:
    # Known input: a complete take that got the name meanwhile.
    room = SimulatedRoom(pace=math.inf, faults=(Fault(kind="stall", at_s=9.0),))
    with pytest.raises(DeviceLostError):
        taken(room, here)
    first = taken(SimulatedRoom(pace=math.inf), here).folder
    before = {file.name: file.read_bytes() for file in first.iterdir()}
    (path,) = here.glob("*.unfinished")
    assert finish_interrupted(path, AROUND)[0] == here / "near the wall-2"
    assert {file.name: file.read_bytes() for file in first.iterdir()} == before


def test_one_that_lacked_only_its_name_gets_it(here: Path) -> None:
    # Known input: a kill between the last file and the folder's name.
    kept = taken(SimulatedRoom(pace=math.inf), here).folder
    before = {file.name: file.read_bytes() for file in kept.iterdir()}
    path = kept.rename(kept.with_name("near the wall.unfinished"))
    assert finish_interrupted(path, AROUND)[0] == kept
    assert {file.name: file.read_bytes() for file in kept.iterdir()} == before
    assert read_take(kept).facts.take.interrupted is None


def test_a_correction_is_kept_and_used_again(here: Path) -> None:
    # Known input: a correction that adds 12 dB below 200 Hz; its copy in the take is used.
    correction = here / "omni.txt"
    correction.write_bytes(b"20 -12\n200 -12\n400 0\n20000 0\n")
    given = MicrophoneFile(path=correction, holds="response", incidence_deg=90)
    around = known_conditions(None, temperature_c=27.0, microphone=given)
    room = SimulatedRoom(pace=math.inf, faults=(Fault(kind="stall", at_s=9.0),))
    with pytest.raises(DeviceLostError):
        taken(room, here, around=around)
    correction.unlink()
    assert cli.run(["read", "near the wall.unfinished", "--brief", "--json", "read.json"]) == 0
    read = json.loads((here / "read.json").read_text(encoding="utf-8"))
    assert cli.run(["log", "finish", "near the wall"]) == 0
    kept = json.loads((here / "near the wall" / "reading.json").read_text(encoding="utf-8"))
    for found in (read, kept):
        assert found["microphone"]["file"] == "omni.txt"
        assert found["microphone"]["incidence_deg"] == 90
        assert found["air"]["temperature_c"] == 27.0
    assert read["bass"] == kept["bass"]


def test_a_complete_take_is_read_by_its_folder(here: Path) -> None:
    # Invariant: the same reading as the take's own, and as by the recording and the sheet.
    kept = taken(SimulatedRoom(pace=math.inf), here).folder
    own = json.loads((kept / "reading.json").read_text(encoding="utf-8"))
    assert cli.run(["read", str(kept), "--brief", "--json", "folder.json"]) == 0
    words = ["read", str(kept / "recording.wav"), "--sweep", str(kept / "programme.wav")]
    assert cli.run([*words, "--temperature", "20", "--brief", "--json", "file.json"]) == 0
    by_folder, by_file = (
        json.loads((here / name).read_text(encoding="utf-8"))
        for name in ("folder.json", "file.json")
    )
    assert by_folder == by_file
    for key in ("arrival", "level", "bass", "sweep"):
        assert by_folder[key] == own[key]


def test_a_take_that_is_being_made_is_left_alone(
    here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # Known input: a take that this very process is making, in a logbook. It can be read, and
    # neither completed nor thrown away; afterwards it is as if nobody had tried.
    book = new_logbook(here / "log")
    log = ["log", "--log", str(book.path)]
    tried = []

    class MeddledRoom(SimulatedRoom):
        def wait(self, duration_s: float) -> None:
            super().wait(duration_s)
            if self.time_s() > 9 and not tried:
                path = str(book.takes / "near the wall.unfinished")
                tried.append(cli.run(["read", path, "--brief"]))
                tried.append(cli.run([*log, "finish", "near the wall"]))
                tried.append(cli.run([*log, "discard", "near the wall"]))

    kept = taken(MeddledRoom(pace=math.inf), book.takes).folder
    assert tried == [0, 2, 2]
    assert capsys.readouterr().err.count("being made or completed just now") == 2
    assert read_take(kept).facts.take.interrupted is None


@pytest.fixture
def interrupted(here: Path) -> Iterator[Path]:
    """Give an interrupted take in a logbook."""
    book = new_logbook(here / "log")
    room = SimulatedRoom(pace=math.inf, faults=(Fault(kind="stall", at_s=9.0),))
    with pytest.raises(DeviceLostError):
        taken(room, book.takes)
    return book.takes / "near the wall.unfinished"


def test_an_interrupted_take_is_binned_and_brought_back(
    interrupted: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # Known input: discard and restore; every byte is there again.
    log = ["log", "--log", str(interrupted.parents[1])]
    before = {file.name: file.read_bytes() for file in interrupted.iterdir()}
    assert cli.run(log) == 0
    assert "apexline log finish NAME" in capsys.readouterr().out
    assert cli.run([*log, "discard", "near the wall"]) == 0
    assert not interrupted.exists()
    there = capsys.readouterr().out.removeprefix("Moved to ").partition(";")[0]
    assert cli.run([*log, "restore", there]) == 0
    after = {file.name: file.read_bytes() for file in interrupted.iterdir()}
    assert {name: after[name] for name in before} == before


def test_the_logbook_marks_it(interrupted: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # Known input: one completed afterwards, in the list, by itself, and in its page.
    log = ["log", "--log", str(interrupted.parents[1])]
    assert cli.run([*log, "finish", interrupted.name]) == 0
    assert "The take was interrupted: the simulated room stopped" in capsys.readouterr().out
    assert cli.run([*log, "--json", "log.json"]) == 0
    assert "simulated, interrupted" in capsys.readouterr().out
    (listed,) = json.loads(Path("log.json").read_text(encoding="utf-8"))["takes"]
    assert listed["interrupted"].startswith("the simulated room stopped")
    assert cli.run([*log, "show", "near the wall"]) == 0
    assert "Interrupted: the simulated room stopped" in capsys.readouterr().out
    assert cli.run([*log, "--verify"]) == 0
    kept = str(interrupted.with_name("near the wall"))
    assert cli.run(["report", kept, "--out", "page.html"]) == 0
    page = Path("page.html").read_text(encoding="utf-8")
    assert "The take was interrupted" in page
    assert "not known: the take was interrupted" in page


def test_mistakes_are_told(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # Known input: a name that isn't there, a folder without a beginning, a sweep too many or
    # too few, a folder that is no take.
    assert cli.run(["log", "finish", "nosuch"]) == 2
    assert 'no interrupted take of the name "nosuch"' in capsys.readouterr().err
    begun = begin_take(here, "old", sample_rate_hz=RATE_HZ, n_channels=1)
    begun.write(np.full((1, RATE_HZ), 0.1))
    begun.abandon("as an earlier version left it")
    assert cli.run(["log", "finish", "old"]) == 2
    assert "holds no begun.toml" in capsys.readouterr().err
    assert cli.run(["read", "old.unfinished"]) == 2
    assert "as an earlier version left it" in capsys.readouterr().err
    assert cli.run(["read", "old.unfinished", "--sweep", "x.wav"]) == 2
    assert "leave --sweep out" in capsys.readouterr().err
    assert cli.run(["read", "old.unfinished/recording.wav"]) == 2
    assert "Missing option '--sweep'" in capsys.readouterr().err
    (here / "empty").mkdir()
    assert cli.run(["read", "empty"]) == 2
    assert "isn't a take" in capsys.readouterr().err


def test_a_take_stopped_before_its_first_sample_leaves_nothing(here: Path) -> None:
    # Known input: a stop that was asked for while the folder was being written.
    from measure.sound.keys import Keys

    keys = Keys()
    keys.stop.ask("stopped by the test")
    with pytest.raises(StoppedError, match="by the test"):
        taken(SimulatedRoom(pace=math.inf), here, keys=keys)
    assert list(here.glob("near*")) == []


def test_a_disk_that_is_full_before_the_first_sample_is_told(
    here: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Known input: the programme can't be written; nothing sounds, and nothing is left.
    from measure.errors import OutputError
    from measure.takes import folder as folder_module

    class SilentRoom(SimulatedRoom):
        def start(self, *_: object, **__: object) -> SimulatedRun:
            raise AssertionError

    def refuse(*_: object) -> None:
        msg = "can't write programme.wav (No space left on device): make room"
        raise OutputError(msg)

    monkeypatch.setattr(folder_module, "write_programme", refuse)
    with pytest.raises(OutputError, match="No space left"):
        taken(SilentRoom(pace=math.inf), here)
    assert list(here.glob("near*")) == []


def test_a_changed_beginning_is_told(interrupted: Path) -> None:
    # Known input: a file that was cut.
    text = (interrupted / "begun.toml").read_text(encoding="utf-8")
    assert tomllib.loads(text)["schema"] == 1
    (interrupted / "begun.toml").write_text(text[: text.index("[level]")], encoding="utf-8")
    with pytest.raises(TakeError, match=r"begun\.toml"):
        read_any_take(interrupted)
