"""Whole takes through the simulated room: what they find, and what a fault leaves."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from short_take import RATE_HZ, short, taken

from measure import cli
from measure.errors import DeviceLostError, SoundDeviceError, StoppedError, TakeError
from measure.files.readings.recording_reader import read_file
from measure.files.system import VARIABLE
from measure.safety.limits import admit
from measure.safety.treble_ledger import MemoryLedger
from measure.sound.keys import Keys
from measure.sound.simulation.faults import Fault
from measure.sound.simulation.room import SimulatedRoom
from measure.takes.conditions import MicrophoneFile, known_conditions
from measure.takes.run import play_and_record
from measure.takes.stored import read_take, take_microphone
from measure.takes.take import Take


def difference_mm(take: Take) -> float:
    arrival = take.reading.reading.arrival
    assert arrival is not None
    assert arrival.difference_m is not None
    return arrival.difference_m * 1e3


def test_a_take_finds_the_planted_difference_and_keeps_itself(tmp_path: Path) -> None:
    # Known input: where the simulated loudspeakers stand.
    room = SimulatedRoom(pace=math.inf)
    take = taken(room, tmp_path)
    assert difference_mm(take) == pytest.approx(room.path_difference_m * 1e3, abs=0.5)
    assert take.folder == tmp_path / "near the wall"
    names = {path.name for path in take.folder.iterdir()}
    assert names == {
        "recording.wav",
        "programme.wav",
        "programme.sheet.toml",
        "reading.json",
        "reading.ir.wav",
        "take.toml",
    }
    facts = read_take(take.folder).facts
    assert (facts.take.pair, facts.take.place) == ("the small ones", "A")
    assert facts.programme.played_order == "LRRL"
    assert facts.driver.n_xruns == 0
    # Invariant: the kept files give the same reading again.
    saved = json.loads((take.folder / "reading.json").read_text(encoding="utf-8"))
    again = tmp_path / "again.json"
    recording, programme = take.folder / "recording.wav", take.folder / "programme.wav"
    assert cli.run(["read", str(recording), "--sweep", str(programme), "--temperature", "20",
                    "--json", str(again), "--brief"]) == 0  # fmt: skip
    read = json.loads(again.read_text(encoding="utf-8"))
    assert read["arrival"]["left_minus_right_mm"] == pytest.approx(
        saved["arrival"]["left_minus_right_mm"], abs=1e-6
    )


def test_a_take_keeps_its_microphones_correction(tmp_path: Path) -> None:
    # Known input: the copy is the file, and reading the kept recording with it gives the
    # take's own reading again.
    correction = tmp_path / "omni.txt"
    correction.write_bytes(b"20 -3\n200 0\n20000 5\n")
    around = known_conditions(
        None,
        temperature_c=20.0,
        microphone=MicrophoneFile(path=correction, holds="response", incidence_deg=0),
    )
    take = taken(SimulatedRoom(pace=math.inf), tmp_path, around=around)
    kept = read_take(take.folder)
    assert (take.folder / "microphone.txt").read_bytes() == correction.read_bytes()
    again = read_file(
        kept.recording,
        kept.programme,
        air=around.air,
        microphone=take_microphone(kept),
        channel=1,
    )
    for side in ("left", "right"):
        first, second = (getattr(one.reading.bass, side).curve for one in (take.reading, again))
        np.testing.assert_array_equal(first.level_db, second.level_db)


@pytest.mark.parametrize("number", [2, 4])
def test_a_spoilt_pass_is_played_again_and_kept(number: int, tmp_path: Path) -> None:
    # Known input: a cough of half a second in one sweep, also in the last one.
    at_s = short().starts_s[number - 1] + 0.3
    cough = Fault(kind="burst", at_s=at_s, duration_s=0.5, amount_db=-35.0)
    room = SimulatedRoom(pace=math.inf, faults=(cough,))
    take = taken(room, tmp_path)
    side = "LRRL"[number - 1]
    assert take.recorded.repeated == (number,)
    assert take.recorded.programme.order == "LRRL" + side
    assert difference_mm(take) == pytest.approx(room.path_difference_m * 1e3, abs=0.5)
    facts = read_take(take.folder).facts
    (again,) = facts.programme.repeated
    assert (again.number, again.side) == (number, side)
    recorded, _ = soundfile.read(take.folder / "recording.wav")
    assert recorded.size > (short("LRRL" + side).duration_s) * RATE_HZ


def test_at_most_two_passes_are_played_again(tmp_path: Path) -> None:
    # Known input: three passes of four are spoilt.
    coughs = tuple(
        Fault(kind="burst", at_s=start_s + 0.3, duration_s=0.5, amount_db=-35.0)
        for start_s in short().starts_s[:3]
    )
    take = taken(SimulatedRoom(pace=math.inf, faults=coughs), tmp_path)
    assert len(take.recorded.repeated) == 2
    assert take.recorded.not_repeated != ()


def unfinished(folder: Path) -> Path:
    (path,) = folder.iterdir()
    assert path.name == "near the wall.unfinished"
    return path


def test_a_device_that_is_lost_leaves_what_was_recorded(tmp_path: Path) -> None:
    # Known input: the device stalls at 4 s.
    room = SimulatedRoom(pace=math.inf, faults=(Fault(kind="stall", at_s=4.0),))
    with pytest.raises(
        DeviceLostError, match=r"4\.0 s that were recorded are kept in .*unfinished"
    ):
        taken(room, tmp_path)
    recorded, _ = soundfile.read(unfinished(tmp_path) / "recording.wav")
    assert recorded.size / RATE_HZ == pytest.approx(4.0, abs=0.1)
    with pytest.raises(TakeError):
        read_take(unfinished(tmp_path))


class Typed(Keys):
    """A keyboard on which a key is pressed in the third second."""

    looks = 0

    def pressed(self) -> str:
        """Return the key once its time has come."""
        self.looks += 1
        return "q" if self.looks > 250 else ""


def test_a_key_stops_a_take_and_keeps_its_start(tmp_path: Path) -> None:
    # Known input: a key after two and a half seconds.
    with pytest.raises(StoppedError, match="by a key"):
        taken(SimulatedRoom(pace=math.inf), tmp_path, keys=Typed())
    recorded, _ = soundfile.read(unfinished(tmp_path) / "recording.wav")
    assert 2.4 < recorded.size / RATE_HZ < 2.7


@pytest.mark.parametrize(
    ("facts", "told"),
    [
        ({"faults": (Fault(kind="silence"),)}, "digital silence"),
        ({"volume_db": -120.0}, "no sweep"),
    ],
)
def test_a_silent_input_is_told(facts: dict[str, Any], told: str, tmp_path: Path) -> None:
    # Known input: a muted microphone, and an amplifier that is off.
    room = SimulatedRoom(pace=math.inf, **facts)
    with pytest.raises(TakeError, match=told):
        taken(room, tmp_path)
    assert (unfinished(tmp_path) / "recording.wav").exists()


def test_what_was_never_delivered_is_counted(tmp_path: Path) -> None:
    # Known input: 20 ms that the device never delivered.
    gap = Fault(kind="undelivered", at_s=5.0, duration_s=0.02)
    take = taken(SimulatedRoom(pace=math.inf, faults=(gap,)), tmp_path)
    recorded = read_take(take.folder).recorded
    assert recorded.n_never_delivered == pytest.approx(0.02 * RATE_HZ, abs=2)
    samples, _ = soundfile.read(take.folder / "recording.wav")
    assert np.isfinite(samples).all()


def test_a_wired_reference_gives_the_distances(tmp_path: Path) -> None:
    # Known input: where the simulated loudspeakers stand. The loudspeakers' own delay is in
    # the uncertainty, and the recorder's clock in the programme's.
    room = SimulatedRoom(pace=math.inf, reference=True, latency_s=0.08, clock_ppm=60.0)
    found = taken(room, tmp_path).distances
    assert found is not None
    for side, told_m in (("left", found.left_m), ("right", found.right_m)):
        assert told_m == pytest.approx(room.distance_m(side), abs=2 * found.std_m)
    assert found.left_m - found.right_m == pytest.approx(room.path_difference_m, abs=0.004)
    kept = read_take(tmp_path / "near the wall").facts.distances
    assert kept is not None
    assert kept.left_m == found.left_m


def run_take(*more: str, name: str = "first") -> int:
    return cli.run(
        [
            "take",
            name,
            "--simulate",
            "--pace",
            "1000",
            "--seconds",
            "0.6",
            "--countdown",
            "0",
            *more,
        ]
    )


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv(VARIABLE, str(tmp_path / "home"))
    return tmp_path


def test_the_command_says_what_to_move(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # Known input: in the simulated room the right loudspeaker is 18 mm farther.
    assert run_take("--yes") == 0
    said = capsys.readouterr()
    assert "the right loudspeaker is 18" in said.out
    assert 'Kept in the folder "first".' in said.out
    assert "Level: sweep at" in said.err
    assert (here / "first" / "take.toml").exists()
    # Invariant: compared with itself, by its folder's name, nothing has changed.
    assert cli.run(["compare", "first", "first"]) == 0
    assert "direct sound 0.0 ± 0.1 dB, within" in " ".join(capsys.readouterr().out.split())
    # A second one of that name is refused before anything sounds.
    assert run_take("--yes") == 2
    said = capsys.readouterr()
    assert 'there is a take "first" already' in said.err
    assert "noise" not in said.err


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--order", "LX"), "--order 'LX' must be"),
        (("--seconds", "0.01"), "--seconds 0.01 must lie"),
        (("--end", "0"), "--end 0 Hz"),
        (("--tolerance", "nan"), "'nan' is no number"),
        (("--temperature", "-30"), "-30.0 is not in the range -20<=x<=50"),
        (("--temperature", "70"), "70 °C is no room's; if it is in °F, write 21.1"),
        (("--level", "-40", "--ask-meter"), "no terminal in which to say what the sound level"),
    ],
)
def test_a_wrong_option_is_told_before_anything_sounds(
    here: Path, capsys: pytest.CaptureFixture[str], options: tuple[str, ...], said: str
) -> None:
    # Known input: one slip each.
    assert run_take("--yes", *options) == 2
    err = " ".join(capsys.readouterr().err.split())
    assert said in err
    assert "noise" not in err
    assert not list(here.glob("first*"))


def test_a_meter_question_may_be_broken_off(monkeypatch: pytest.MonkeyPatch) -> None:
    # Known input: Ctrl-C or Ctrl-D at the question; the take goes on without a figure.
    import click

    from measure.commands.take import shown_by_meter

    def broken_off(*_: object, **__: object) -> None:
        raise click.Abort

    monkeypatch.setattr(click, "prompt", broken_off)
    assert shown_by_meter(Keys()) is None


def test_a_folder_that_holds_no_take_is_no_reading(
    here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (here / "empty").mkdir()
    assert cli.run(["compare", "empty", "empty"]) == 2
    assert 'no reading.json in the folder "empty"' in capsys.readouterr().err


def test_a_wrong_answer_ends_it(
    here: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    # Known input: the person hears the right one when the left should sound.
    import click

    monkeypatch.setattr(click, "prompt", lambda *_, **__: "r")
    assert run_take() == 2
    assert "no terminal in which to say" in capsys.readouterr().err
    monkeypatch.setattr(Keys, "live", True)
    assert run_take() == 2
    assert "exchange the two plugs" in " ".join(capsys.readouterr().err.split())
    assert not (here / "first").exists()


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (("--level", "-10"), "can hurt ears"),
        (("--room", "missing.toml", "--level", "-30"), "missing.toml"),
        (("--order", "LXR", "--level", "-30"), "--order 'LXR'"),
        (("--play", "card", "--level", "-30"), "--play chooses a device"),
    ],
)
@pytest.mark.usefixtures("here")
def test_mistakes_are_told(
    options: tuple[str, ...], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    # Known input: one mistake each.
    assert run_take("--yes", *options) == 2
    assert told in capsys.readouterr().err


def test_a_start_that_fails_leaves_nothing(tmp_path: Path) -> None:
    # Known input: a room that is busy.
    room = SimulatedRoom(pace=math.inf)
    silence = admit(
        np.zeros((2, RATE_HZ)), sample_rate_hz=RATE_HZ, ledger=MemoryLedger(room.time_s)
    )
    room.start(silence, n_frames=RATE_HZ)
    with pytest.raises(SoundDeviceError):
        taken(room, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_ctrl_c_inside_a_write_is_told_as_such() -> None:
    # Known input: the person interrupts while a piece is being written, after which nothing
    # more can be.
    room = SimulatedRoom(pace=math.inf)
    written = []

    def write(samples: np.ndarray) -> None:
        written.append(samples)
        if len(written) == 3:
            raise KeyboardInterrupt
        if len(written) > 3:
            msg = "writing was interrupted"
            raise TakeError(msg)

    with pytest.raises(KeyboardInterrupt):
        play_and_record(
            room,
            short(),
            ledger=MemoryLedger(room.time_s),
            keys=Keys(),
            write=write,
            show=lambda _: None,
        )
    assert len(written) == 4
