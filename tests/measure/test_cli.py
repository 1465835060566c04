"""The command line as a person or a script meets it: exit status, streams, files."""

from __future__ import annotations

import importlib
import json
import subprocess
import sys
from pathlib import Path

import click
import pytest

from measure import cli
from measure.files.audio_files import read_sound
from measure.files.room_file import read_room
from measure.sound.stimulus import checksum, programme_samples
from measure.takes.sheet import read_sheet

ROOT = Path(__file__).parents[2]
SHORT = ("--seconds", "0.5", "--tail", "0.3")


def test_help_fits_80_columns_and_lists_every_command(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert cli.run(["--help"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80
    for name in cli.COMMANDS:
        assert any(line.startswith(f"  {name} ") for line in lines)


@pytest.mark.parametrize("name", sorted(cli.COMMANDS))
def test_every_listed_command_exists_and_explains_itself(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    module = importlib.import_module(f"measure.commands.{name}")
    assert isinstance(module.command, click.Command)
    assert cli.run([name, "--help"]) == 0
    out = capsys.readouterr().out
    assert f"apexline {name}" in out
    assert "\x1b" not in out
    assert max(map(len, out.splitlines())) <= 80


def test_every_command_file_is_listed() -> None:
    # A part of a command that has several is named after it, as log_add.
    paths = (ROOT / "measure" / "commands").glob("[!_]*.py")
    files = {path.stem.split("_")[0] for path in paths}
    assert files == set(cli.COMMANDS)


def test_a_mistyped_command_is_answered_with_the_nearest(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert cli.run(["strter", "a.toml"]) == 2
    assert "Did you mean 'starter'?" in capsys.readouterr().err


def test_a_mistyped_option_is_status_2(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.run(["about", "--jason", "-"]) == 2
    assert "--json" in capsys.readouterr().err


def test_an_interruption_is_status_130(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("measure.sound.stimulus.programme_samples", interrupted)
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(ROOT)
        assert cli.run(["sweep", "never.wav"]) == 130
    assert capsys.readouterr().err.endswith("Interrupted.\n")
    assert not (ROOT / "never.wav").exists()


def test_sweep_writes_what_its_sheet_describes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # Second method: the file is read back and compared with the sheet's programme.
    out = tmp_path / "s.wav"
    assert cli.run(["sweep", str(out), *SHORT, "--rate", "44100", "--order", "llrr"]) == 0
    programme, sha256 = read_sheet(out)
    sound = read_sound(out)
    assert (sound.encoding, sound.sample_rate_hz, programme.order) == ("PCM_24", 44_100, "LLRR")
    assert programme.sweep.stop_hz == pytest.approx(20_286)
    assert (sound.samples == programme_samples(programme)).all()
    assert checksum(sound.samples) == sha256
    assert "Ears:" in capsys.readouterr().out
    assert sorted(path.name for path in tmp_path.iterdir()) == ["s.sheet.toml", "s.wav"]


def test_sweep_is_the_same_twice(tmp_path: Path) -> None:
    # Invariant: same options, same bytes, so that a lost sheet can be made again.
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        assert cli.run(["sweep", str(tmp_path / name / "s.wav"), *SHORT]) == 0
    for name in ("s.wav", "s.sheet.toml"):
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()


def test_sweep_as_json_alone_on_standard_output(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.run(["sweep", str(tmp_path / "s.wav"), *SHORT, "--json", "-"]) == 0
    captured = capsys.readouterr()
    facts = json.loads(captured.out)
    assert (facts["schema"], facts["command"], facts["order"]) == (1, "sweep", "LRRL")
    assert "Ears:" in captured.err


def test_sweep_replaces_only_with_force(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "s.wav"
    sheet = tmp_path / "s.sheet.toml"
    sheet.write_text("mine", encoding="utf-8")
    assert cli.run(["sweep", str(out), *SHORT]) == 2
    assert "--force" in capsys.readouterr().err
    assert not out.exists()
    assert sheet.read_text(encoding="utf-8") == "mine"
    assert cli.run(["sweep", str(out), *SHORT, "--force"]) == 0
    assert read_sheet(out)[0].order == "LRRL"


def test_the_flag_makes_it_louder(tmp_path: Path) -> None:
    out = tmp_path / "s.wav"
    assert cli.run(["sweep", str(out), *SHORT, "--level", "-6", "--louder-than-safe"]) == 0
    assert abs(read_sound(out).samples).max() == pytest.approx(10 ** (-6 / 20), rel=1e-3)


@pytest.mark.parametrize(
    "options",
    [
        ["--start", "30000"],
        ["--end", "24000"],
        ["--seconds", "0"],
        ["--level", "1", "--louder-than-safe"],
        ["--level", "-19"],
        ["--rate", "8000"],
        ["--order", "LX"],
        ["--tail", "-1"],
        ["--json", "other.wav"],
        ["--json", "nowhere/a.json"],
    ],
)
def test_a_sweep_that_makes_no_sense_is_refused_in_one_line(
    options: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert cli.run(["sweep", "s.wav", *options]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.startswith("Error: ")
    assert captured.err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_places_where_no_sweep_can_be_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.run(["sweep", str(tmp_path / "nowhere" / "s.wav")]) == 2
    assert "doesn't exist" in capsys.readouterr().err
    assert cli.run(["sweep", str(tmp_path / "s.mp3")]) == 2
    assert "must end in .wav" in capsys.readouterr().err


def test_starter_writes_a_room_that_reads(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "room.toml"
    assert cli.run(["starter", str(out)]) == 0
    assert read_room(out).room.length_m > 0
    before = out.read_bytes()
    assert cli.run(["starter", str(out)]) == 2
    assert "--force" in capsys.readouterr().err
    assert out.read_bytes() == before


def test_about_says_whether_sound_works(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    # Known input: a machine without the PortAudio library, as the import shows it.
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    assert cli.run(["about", "--json", str(tmp_path / "about.json")]) == 0
    facts = json.loads((tmp_path / "about.json").read_bytes())
    assert facts["versions"]["apexline"] == "0.1.0"
    assert "sounddevice isn't installed" in facts["sound_problem"]
    assert "sounddevice isn't installed" in capsys.readouterr().out


def test_python_m_measure_is_the_same_program() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "measure", "sweep", "/"], capture_output=True, text=True, cwd=ROOT
    )
    assert (done.returncode, done.stdout) == (2, "")
    assert "Traceback" not in done.stderr
