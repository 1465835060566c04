"""``apexline read`` as a person or a script meets it: files, exit status, the JSON's keys.

Truth: recordings of a simulated room (`benchmarks.planted`); RFC 8259 for the JSON; what the
documentation promises for each bad input.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from analysis.recording.checks.check import NAMES
from analysis.signals.programme import Programme
from benchmarks import faults
from benchmarks.planted import RATE_HZ, START_S, Planted, planted
from measure import cli
from measure.takes.sheet import read_sheet

Float = NDArray[np.float64]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with a sweep of 2 s a pass, its sheet, a room file and a recording."""
    path = tmp_path_factory.mktemp("read")
    sweep = str(path / "sweep.wav")
    assert cli.run(["sweep", sweep, "--seconds", "2", "--tail", "0.8"]) == 0
    assert cli.run(["starter", str(path / "room.toml")]) == 0
    write(path / "good.wav", recording(path).samples)
    return path


def programme(folder: Path) -> Programme:
    """Return the programme that was written."""
    return read_sheet(folder / "sweep.wav")[0]


def recording(folder: Path, **keywords: Any) -> Planted:
    """Return a recording of it."""
    return planted(programme(folder), seed=1, **keywords)


def write(path: Path, samples: Float, *, subtype: str = "PCM_24", rate_hz: int = RATE_HZ) -> Path:
    """Write a recording."""
    soundfile.write(path, samples, rate_hz, subtype=subtype)
    return path


def read(folder: Path, name: str | Path, *more: str, to: Path | None = None) -> int:
    """Run the command on a file of the folder."""
    json_options = [] if to is None else ["--json", str(to)]
    sweep = str(folder / "sweep.wav")
    return cli.run(["read", str(folder / name), "--sweep", sweep, *json_options, *more])


def document(path: Path) -> dict[str, Any]:
    """Load a JSON, strictly: NaN and Infinity are no JSON."""

    def refuse(text: str) -> None:
        msg = f"{text} is no JSON"
        raise AssertionError(msg)

    loaded: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"), parse_constant=refuse)
    return loaded


KEYS = {
    "air": {"speed_of_sound_m_s"},
    "clock": {"drift_ppm"},
    "arrival": {"left_minus_right_us", "left_minus_right_mm", "std_mm", "in_room_std_mm"},
    "level": {
        "left_minus_right_db",
        "band_hz",
        "seat_left_minus_right_db",
        "seat_band_hz",
    },
    "polarity": {"left", "right", "matched"},
    "bass": {"left", "right", "both"},
}


def assert_complete(found: dict[str, Any]) -> None:
    """See that every promised key is there, whatever could be measured."""
    assert {"schema", "command", "usable", "checks", "passes"} <= set(found)
    assert found["command"] == "read"
    assert isinstance(found["usable"], bool)
    for table, keys in KEYS.items():
        assert keys <= set(found[table])
    assert [check["name"] for check in found["checks"]] == list(NAMES)
    for check in found["checks"]:
        assert set(check) == {"name", "verdict", "detail"}
        assert check["verdict"] in {"pass", "warn", "fail"}
        assert check["detail"]
    for side in found["bass"]["left"], found["bass"]["right"], found["bass"]["both"]:
        assert len(side["frequency_hz"]) == len(side["level_db"])
        for feature in side["features"]:
            assert_feature(feature)
    arrival = found["arrival"]
    if arrival["left_minus_right_mm"] is None:
        assert arrival["left_minus_right_us"] is None
        assert any(check["verdict"] == "fail" for check in found["checks"]) or arrival["withheld"]
    else:
        assert arrival["std_mm"] > 0
        assert arrival["in_room_std_mm"] >= arrival["std_mm"]
    assert found["passes"]


def assert_feature(feature: dict[str, Any]) -> None:
    """See that a peak or dip has what was promised."""
    assert feature["kind"] in {"peak", "dip"}
    assert feature["prominence_db"] > 0
    assert feature["decay_s"] is None or feature["decay_s"] > 0
    assert feature["causes"]
    for cause in feature["causes"]:
        assert cause["cause"] in {"mode", "boundary", "unexplained"}
        assert cause["frequency_hz"] > 0
        assert {"indices", "surface"} <= set(cause)
        if cause["cause"] == "mode":
            assert len(cause["indices"]) == 3
        if cause["cause"] == "boundary":
            assert cause["surface"]


def test_good_recording(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Geometry: the verdict first, within 80 columns, and the number in the JSON."""
    target = tmp_path / "out.json"
    assert read(folder, "good.wav", "--room", str(folder / "room.toml"), to=target) == 0
    captured = capsys.readouterr()
    assert max(map(len, captured.out.splitlines())) <= 80 + len(str(tmp_path))
    assert "\x1b" not in captured.out
    found = document(target)
    assert_complete(found)
    assert found["usable"]
    truth_us = recording(folder).difference_s * 1e6
    assert found["arrival"]["left_minus_right_us"] == pytest.approx(truth_us, abs=1.0)
    assert found["arrival"]["left_minus_right_mm"] == pytest.approx(
        found["arrival"]["left_minus_right_us"] * 1e-3 * found["air"]["speed_of_sound_m_s"]
    )
    assert found["clock"]["drift_ppm"] == pytest.approx(30.0, abs=0.1)


def test_impulse_responses_stand_beside_the_json(folder: Path, tmp_path: Path) -> None:
    """Known input: float, two channels, as long as the tail, the later one starting later."""
    target = tmp_path / "out.json"
    assert read(folder, "good.wav", "--brief", to=target) == 0
    samples, rate_hz = soundfile.read(tmp_path / "out.ir.wav", always_2d=True)
    assert samples.shape[1] == 2
    table = document(target)["impulse_responses"]
    assert rate_hz == table["sample_rate_hz"]
    later = np.argmax(np.abs(samples), axis=0)
    assert abs(int(later[0] - later[1])) < 40
    # Derived files may be replaced.
    assert read(folder, "good.wav", "--brief", to=target) == 0


def test_json_to_standard_output(folder: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """Invariant: nothing but the JSON on standard output, the words on standard error."""
    assert read(folder, "good.wav", "--json", "-") == 0
    captured = capfd.readouterr()
    assert_complete(json.loads(captured.out))
    assert "loudspeaker" in captured.err


DAMAGES: dict[str, Callable[[Planted], Float]] = {
    "first half only": lambda one: one.samples[: one.samples.size // 2],
    "one pass": lambda one: one.samples[: round((one.starts_s[1] - 0.1) * RATE_HZ)],
    "clipped": lambda one: np.clip(one.samples, *(np.array([-0.4, 0.4]) * one.samples.max())),
    "dropout in a pause": lambda one: faults.dropped(
        one.samples, sample_rate_hz=RATE_HZ, at_s=one.starts_s[0] + 2.6, length_s=64 / RATE_HZ
    ),
    "speech throughout": lambda one: faults.babble(
        one.samples,
        sample_rate_hz=RATE_HZ,
        at_s=0.1,
        length_s=14.0,
        level_dbfs=20 * float(np.log10(np.abs(one.samples).max())),
        rng=np.random.default_rng(1),
    ),
}


@pytest.mark.parametrize("damage", DAMAGES.values(), ids=DAMAGES.keys())
def test_damaged_recordings_are_read_as_far_as_they_go(
    folder: Path, tmp_path: Path, damage: Callable[[Planted], Float]
) -> None:
    """Promise: status 0 and the whole JSON if a pass was found, even if unusable."""
    path = write(tmp_path / "damaged.wav", damage(recording(folder)))
    target = tmp_path / "out.json"
    assert read(folder, path, to=target) == 0
    found = document(target)
    assert_complete(found)
    assert not found["usable"]


@pytest.mark.parametrize("gains", [(0.0, 1.0), (1.0, 0.0)])
def test_one_channel_silent(folder: Path, tmp_path: Path, gains: tuple[float, float]) -> None:
    """Promise: null and [] for the side that wasn't heard, numbers for the other."""
    path = write(tmp_path / "half.wav", recording(folder, gains=gains).samples)
    target = tmp_path / "out.json"
    assert read(folder, path, "--room", str(folder / "room.toml"), to=target) == 0
    found = document(target)
    assert_complete(found)
    assert not found["usable"]
    silent, heard = ("left", "right") if gains[0] == 0 else ("right", "left")
    assert found["arrival"]["left_minus_right_mm"] is None
    assert found["level"]["left_minus_right_db"] is None
    assert found["bass"][silent]["level_db"] == []
    assert found["bass"]["both"]["level_db"] == []
    assert found["bass"][heard]["level_db"]


def test_eight_bits_and_twelve_channels(folder: Path, tmp_path: Path) -> None:
    """Promise: with the sweep in them both are read, and the microphone's channel is named."""
    one = recording(folder)
    loud = one.samples * 0.9 / np.abs(one.samples).max()
    frames = faults.among_channels(
        loud,
        n_channels=12,
        microphone=6,
        sample_rate_hz=RATE_HZ,
        rng=np.random.default_rng(1),
        noise_dbfs=-40.0,
    )
    target = tmp_path / "out.json"
    for samples, subtype, channel in ((loud, "PCM_U8", 1), (frames, "PCM_16", 7)):
        path = write(tmp_path / "recording.wav", samples, subtype=subtype)
        assert read(folder, path, to=target) == 0
        found = document(target)
        assert_complete(found)
        assert found["usable"]
        assert found["recording"]["channel"] == channel


@pytest.mark.parametrize("subtype", ["PCM_24", "PCM_16", "FLOAT"])
def test_the_sweep_itself_is_no_recording(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], subtype: str
) -> None:
    """Known input: the file that was played, as it is, saved anew, and cut at its beginning."""
    samples, rate_hz = soundfile.read(folder / "sweep.wav")
    for first in (0, 30_000):
        path = write(tmp_path / "played.wav", samples[first:], subtype=subtype, rate_hz=rate_hz)
        assert read(folder, path) == 2
        said = capsys.readouterr().err
        assert "played.wav is a sweep as it is played" in said
        assert "give the recording that was made at the seat" in said


def test_two_microphones_or_one_and_silence_are_no_sweep(folder: Path, tmp_path: Path) -> None:
    """Known input: a recording beside its delayed copy, beside silence, and beside noise."""
    one = recording(folder).samples
    noise = 1e-5 * np.random.default_rng(1).standard_normal(one.size)
    for beside in (np.roll(one, 40), np.zeros(one.size), noise):
        path = write(tmp_path / "two.wav", np.stack([one, beside], axis=1))
        assert read(folder, path, "--channel", "1", to=tmp_path / "out.json") == 0
        assert document(tmp_path / "out.json")["usable"]


@pytest.mark.parametrize("rate_hz", [8000, 16_000])
def test_a_rate_for_speech_is_said(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], rate_hz: int
) -> None:
    """Known input: recorders for speech take 8 or 16 kHz, and hold nothing above the half."""
    samples = faults.resampled(recording(folder).samples, sample_rate_hz=RATE_HZ, to_hz=rate_hz)
    path = write(tmp_path / "speech.wav", samples, rate_hz=rate_hz)
    assert read(folder, path) == 2
    said = " ".join(capsys.readouterr().err.split())
    assert f"recorded at {rate_hz} Hz, a rate for speech" in said
    assert f"nothing above {rate_hz // 2000} kHz" in said


@pytest.mark.parametrize(("suffix", "subtype"), [("flac", "PCM_16"), ("wav", "FLOAT")])
def test_other_formats(folder: Path, tmp_path: Path, suffix: str, subtype: str) -> None:
    """Promise: FLAC and float files."""
    path = write(tmp_path / f"recording.{suffix}", recording(folder).samples, subtype=subtype)
    target = tmp_path / "out.json"
    assert read(folder, path, to=target) == 0
    assert document(target)["usable"]


def test_truncated_file_is_read_as_far_as_it_goes(folder: Path, tmp_path: Path) -> None:
    """Known input: the last fifth of the bytes is gone, and that is said."""
    content = (folder / "good.wav").read_bytes()
    (tmp_path / "torn.wav").write_bytes(content[: int(0.8 * len(content))])
    target = tmp_path / "out.json"
    assert read(folder, tmp_path / "torn.wav", to=target) == 0
    found = document(target)
    assert_complete(found)
    (cut,) = (check for check in found["checks"] if check["name"] == "cut_short")
    assert cut["verdict"] != "pass"
    assert "header" in cut["detail"]


def other_sweep(_: Path, path: Path) -> None:
    """Write the recording of a sweep of another length."""
    other = path.parent / "other-sweep.wav"
    assert cli.run(["sweep", str(other), "--seconds", "2.6", "--tail", "0.8"]) == 0
    write(path, planted(read_sheet(other)[0], seed=1).samples)


def noise(*shape: int) -> Float:
    """Return white noise."""
    return 0.1 * np.random.default_rng(1).standard_normal(shape)


def with_value(folder: Path, value: float) -> Float:
    """Return a recording with one value that is no number."""
    samples = recording(folder).samples.copy()
    samples[RATE_HZ] = value
    return samples


BAD: dict[str, tuple[Callable[[Path, Path], object], str]] = {
    "empty": (lambda _, path: path.write_bytes(b""), "is empty"),
    "text": (lambda _, path: path.write_text("frequency, level\n" * 99), "isn't a sound file"),
    "not a number": (
        lambda folder, path: write(path, with_value(folder, np.nan), subtype="FLOAT"),
        "no numbers",
    ),
    "infinity": (
        lambda folder, path: write(path, with_value(folder, np.inf), subtype="FLOAT"),
        "no numbers",
    ),
    "0.1 s": (
        lambda folder, path: write(path, recording(folder).samples[:4800]),
        "only 0.10 s long",
    ),
    "zeros": (lambda _, path: write(path, np.zeros(8 * RATE_HZ)), "all zeros"),
    "8-bit noise": (
        lambda _, path: write(path, noise(8 * RATE_HZ), subtype="PCM_U8"),
        "isn't heard",
    ),
    "12 channels of noise": (lambda _, path: write(path, noise(4 * RATE_HZ, 12)), "isn't heard"),
    "another sweep": (other_sweep, "but not this one"),
    "torn before the sweep": (
        lambda folder, path: path.write_bytes(
            (folder / "good.wav").read_bytes()[: round(3 * RATE_HZ * (START_S + 0.9))]
        ),
        "isn't heard",
    ),
    "torn in its header": (
        lambda folder, path: path.write_bytes((folder / "good.wav").read_bytes()[:30]),
        "isn't a sound file",
    ),
    "missing": (lambda _, path: path, "doesn't exist"),
    "a folder": (lambda _, path: path.mkdir(), "is a folder"),
}


def assert_refused(status: int, captured: str, text: str, folder: Path, before: set[Path]) -> None:
    """See one sentence, status 2, and no new file."""
    assert status == 2
    (line,) = (line for line in captured.splitlines() if line.startswith("Error: "))
    assert text in line
    assert "Traceback" not in captured
    assert set(folder.iterdir()) == before


@pytest.mark.parametrize(("make", "text"), BAD.values(), ids=BAD.keys())
def test_bad_recordings(
    folder: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    make: Callable[[Path, Path], object],
    text: str,
) -> None:
    """Promise: one clear sentence, exit status 2, nothing written."""
    path = tmp_path / "bad.wav"
    make(folder, path)
    before = set(tmp_path.iterdir())
    capsys.readouterr()
    status = read(folder, path, to=tmp_path / "out.json")
    assert_refused(status, capsys.readouterr().err, text, tmp_path, before)


BAD_ROOMS: dict[str, tuple[Callable[[str], bytes], str]] = {
    "not UTF-8": (lambda text: text.encode() + b"\n# \xff\xfe", "UTF-8"),
    "negative size": (
        lambda text: re.sub(r"length_m = [\d.]+", "length_m = -4", text).encode(),
        "length_m -4",
    ),
    "missing key": (
        lambda text: re.sub(r"(?m)^width_m = [\d.]+", "", text).encode(),
        "width_m is missing",
    ),
    "no TOML": (lambda text: b"length_m 4 m", "room.toml"),  # noqa: ARG005
}


def test_a_room_that_is_no_box_names_modes_by_number(folder: Path, tmp_path: Path) -> None:
    # Known input: the starter's room with a bay, told by its corners.
    text = (folder / "room.toml").read_text("utf-8")
    lines = [line for line in text.splitlines() if not line.startswith(("length_m", "width_m"))]
    floor = "floor_m = [[0, 0], [4.2, 0], [4.2, 3.9], [4.8, 3.9], [4.8, 5.4], [0, 5.4]]"
    head, tail = [], []
    in_absorption = False
    for line in lines:
        if line.startswith("["):
            in_absorption = line.startswith("[absorption")
        (tail if not in_absorption else head).append(line)
    room = tmp_path / "bay.toml"
    room.write_text("\n".join([floor, *tail]), "utf-8")
    out = tmp_path / "bay.json"
    figures = tmp_path / "figures"
    done = read(folder, "good.wav", "--room", str(room), "--figures", str(figures), to=out)
    assert done == 0
    document = json.loads(out.read_text("utf-8"))
    assert all(mode["indices"] is None for mode in document["room"]["modes"])
    causes = [
        cause
        for side in ("left", "right", "both")
        for one in document["bass"][side]["features"]
        for cause in one["causes"]
    ]
    modes = [cause for cause in causes if cause["cause"] == "mode"]
    assert modes
    for cause in modes:
        listed = document["room"]["modes"][cause["number"] - 1]
        assert cause["frequency_hz"] == pytest.approx(listed["frequency_hz"])
    assert (figures / "modes.png").exists()


@pytest.mark.parametrize(("change", "text"), BAD_ROOMS.values(), ids=BAD_ROOMS.keys())
def test_bad_room_files(
    folder: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    change: Callable[[str], bytes],
    text: str,
) -> None:
    """Promise: the file and what is wrong in it."""
    room = tmp_path / "room.toml"
    room.write_bytes(change((folder / "room.toml").read_text(encoding="utf-8")))
    before = set(tmp_path.iterdir())
    status = read(folder, "good.wav", "--room", str(room), to=tmp_path / "out.json")
    assert_refused(status, capsys.readouterr().err, text, tmp_path, before)


@pytest.mark.parametrize(
    ("options", "text"),
    [
        (("--channel", "3"), "no channel 3"),
        (("--temperature", "nan"), "nan"),
        (("--temperature", "400"), "400"),
        (("--tolerance", "nan"), "nan"),
        (("--half-angle", "nan"), "nan"),
        (("--mic-correction", "nowhere.txt"), "nowhere.txt"),
        (("--room", "nowhere.toml"), "nowhere.toml"),
        (("--spot", "left", "nowhere.wav"), "nowhere.wav"),
    ],
)
def test_bad_options(
    folder: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    options: tuple[str, ...],
    text: str,
) -> None:
    """Promise: refused before anything is written."""
    before = set(tmp_path.iterdir())
    status = read(folder, "good.wav", *options, to=tmp_path / "out.json")
    assert_refused(status, capsys.readouterr().err, text, tmp_path, before)


@pytest.mark.parametrize("target", ["good.wav/out.json", "nowhere/out.json"])
def test_targets_that_cannot_be_written(
    folder: Path, capsys: pytest.CaptureFixture[str], target: str
) -> None:
    """Promise: a path below a file, or in a folder that isn't there, is refused at once."""
    before = set(folder.iterdir())
    status = read(folder, "good.wav", to=folder / target)
    assert_refused(status, capsys.readouterr().err, "doesn't exist", folder, before)


def test_target_without_rights(ordinary_folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Promise: a folder that may not be written to leaves nothing behind."""
    sweep = str(ordinary_folder / "sweep.wav")
    assert cli.run(["sweep", sweep, "--seconds", "2", "--tail", "0.8"]) == 0
    path = write(ordinary_folder / "good.wav", recording(ordinary_folder).samples)
    closed = ordinary_folder / "closed"
    closed.mkdir()
    closed.chmod(0o500)
    assert read(ordinary_folder, path, to=closed / "out.json") == 2
    assert "Error: " in capsys.readouterr().err
    assert list(closed.iterdir()) == []


def test_sheet_is_missing(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Promise: says that the sheet belongs beside the sweep."""
    lone = tmp_path / "lone.wav"
    lone.write_bytes((folder / "sweep.wav").read_bytes())
    status = cli.run(["read", str(folder / "good.wav"), "--sweep", str(lone)])
    assert status == 2
    assert "lone.sheet.toml is missing" in capsys.readouterr().err
