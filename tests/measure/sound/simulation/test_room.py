"""The simulated room as a sound path."""

from __future__ import annotations

import math
import re
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.basics.air import air_at
from analysis.reading import Reading, read_recording
from analysis.signals.programme import Programme
from measure.errors import DeviceLostError, SoundDeviceError
from measure.files.room_file import read_room
from measure.safety.limits import SafeSignal, admit
from measure.safety.treble_ledger import MemoryLedger
from measure.sound.path import STOP_WITHIN_S
from measure.sound.simulation.acoustics import SimulatedLoudspeaker
from measure.sound.simulation.faults import KINDS, Fault
from measure.sound.simulation.room import MOVE_S, PAIR, POSITIONS, ROOM, SimulatedRoom
from measure.sound.simulation.run import SimulatedRun, block_frames
from measure.sound.stimulus import default_stop_hz, make_programme, programme_samples

RATE_HZ = 48_000
QUIET: dict[str, Any] = {"pace": math.inf, "noise_dbfs": -np.inf, "hum_dbfs": -np.inf}

Samples = NDArray[np.float64]


def admitted(room: SimulatedRoom, samples: Samples, **options: Any) -> SafeSignal:
    ledger = MemoryLedger(room.time_s)
    return admit(samples, sample_rate_hz=room.sample_rate_hz, ledger=ledger, **options)


def tone(rate_hz: int = RATE_HZ, *, duration_s: float = 0.5, level: float = 0.1) -> Samples:
    """Return a fading tone of 400 Hz to the left."""
    n_samples = round(duration_s * rate_hz)
    wave = np.sin(2 * np.pi * 400 * np.arange(n_samples) / rate_hz)
    return np.array([level * np.hanning(n_samples) * wave, np.zeros(n_samples)])


def ran(
    room: SimulatedRoom, samples: Samples, *, duration_s: float, step_s: float = 0.25
) -> SimulatedRun:
    """Play samples and wait until so much is recorded."""
    n_frames = round(duration_s * room.sample_rate_hz)
    run = room.start(admitted(room, samples), n_frames=n_frames)
    while run.n_recorded < n_frames:
        room.wait(step_s)
    run.close()
    return run


def planned(rate_hz: int) -> Programme:
    return make_programme(
        start_hz=20.0,
        stop_hz=default_stop_hz(rate_hz),
        duration_s=1.5,
        level_dbfs=-20.0,
        rate_hz=rate_hz,
        order="LRRL",
        tail_s=0.6,
    )


def read(room: SimulatedRoom) -> Reading:
    """Play a programme, record it and read it."""
    programme = planned(room.sample_rate_hz)
    run = ran(room, programme_samples(programme), duration_s=programme.duration_s + 0.3)
    return read_recording(
        np.asarray(run.recorded[0], dtype=float),
        recorded_hz=room.sample_rate_hz,
        programme=programme,
        air=air_at(20.0),
    )


@pytest.mark.parametrize(
    ("rate_hz", "clock_ppm", "away_m"),
    [(44_100, -120.0, 0.031), (96_000, 60.0, -0.024)],
)
def test_a_programme_is_read_as_planted(rate_hz: int, clock_ppm: float, away_m: float) -> None:
    # Known input: geometry, clock and wiring of the room.
    room = SimulatedRoom(rate_hz, pace=math.inf, clock_ppm=clock_ppm, seed=rate_hz)
    room.move("left", away_m)
    room.wait(MOVE_S)
    reading = read(room)
    assert reading.usable
    assert [check.name for check in reading.checks if check.verdict != "pass"] == []
    assert reading.arrival is not None
    assert reading.arrival.difference_m == pytest.approx(room.path_difference_m, abs=5e-4)
    assert reading.aligned.clock.drift_ppm == pytest.approx(clock_ppm, abs=0.05)
    assert reading.polarity is not None
    assert reading.polarity.matched


def test_level_and_polarity_are_read_as_planted() -> None:
    # Known input: like boxes, one 2 dB louder and one wired the wrong way round; 1/d.
    pair = (SimulatedLoudspeaker(gain_db=2.0), SimulatedLoudspeaker(inverted=True))
    room = SimulatedRoom(pace=math.inf, pair=pair)
    reading = read(room)
    assert reading.arrival is not None
    assert reading.arrival.difference_m == pytest.approx(room.path_difference_m, abs=5e-4)
    nearer_db = 20 * math.log10(room.distance_m("right") / room.distance_m("left"))
    assert reading.level is not None
    assert reading.level.direct.left_minus_right_db == pytest.approx(2.0 + nearer_db, abs=0.1)
    assert reading.polarity is not None
    assert (reading.polarity.left, reading.polarity.right) == (1, -1)


def test_the_truth_is_that_of_the_positions() -> None:
    room = SimulatedRoom(pace=math.inf)
    assert room.path_difference_m == pytest.approx(POSITIONS.left_minus_right_m)
    room.move("left", 0.01)
    room.move("right", -0.02)
    assert room.path_difference_m == pytest.approx(POSITIONS.left_minus_right_m + 0.03)
    assert room.distance_m("right") == pytest.approx(POSITIONS.right_m - 0.02)


@pytest.mark.parametrize("clock_ppm", [0.0, -80.0])
def test_a_recording_does_not_depend_on_how_often_one_looks(clock_ppm: float) -> None:
    # Invariant, also with a move under way.
    recorded = []
    for step_s in (0.01, 0.0371, 1.0):
        room = SimulatedRoom(pace=math.inf, clock_ppm=clock_ppm, reference=True)
        room.move("left", 0.05)
        recorded.append(ran(room, tone(), duration_s=0.4, step_s=step_s).recorded)
    assert np.array_equal(recorded[0], recorded[1])
    assert np.array_equal(recorded[0], recorded[2])
    other = SimulatedRoom(pace=math.inf, clock_ppm=clock_ppm, seed=2, reference=True)
    assert not np.array_equal(ran(other, tone(), duration_s=0.4).recorded[0], recorded[0][0])


@pytest.mark.parametrize(("rate_hz", "clock_ppm"), [(44_100, 0.0), (88_200, 500.0)])
def test_the_wired_input_has_the_output_late_and_on_its_clock(
    rate_hz: int, clock_ppm: float
) -> None:
    # Closed form: frame n of the output lies at (n + latency) times the clocks' ratio.
    room = SimulatedRoom(rate_hz, clock_ppm=clock_ppm, latency_s=0.02, reference=True, **QUIET)
    samples = tone(rate_hz)
    wired = ran(room, samples, duration_s=0.7).recorded[1]
    played = np.arange(wired.size) / (1 + clock_ppm * 1e-6) - 0.02 * rate_hz
    n_samples = samples.shape[1]
    inside = (played > 0) & (played < n_samples - 1)
    window = 0.5 - 0.5 * np.cos(2 * np.pi * played / (n_samples - 1))
    truth = np.where(inside, 0.1 * window * np.sin(2 * np.pi * 400 * played / rate_hz), 0)
    assert np.abs(wired - truth).max() < 1e-4


def test_what_is_appended_lands_at_its_frame() -> None:
    # Known input: the wired input holds the second tone where it was asked for.
    room = SimulatedRoom(clock_ppm=0.0, latency_s=0.02, reference=True, **QUIET)
    run = room.start(admitted(room, tone()), n_frames=2 * RATE_HZ)
    room.wait(0.6)
    at_frame = run.n_played + RATE_HZ // 4
    assert run.append(admitted(room, tone()[::-1]), at_frame)
    room.wait(1.5)
    wired = run.recorded[1]
    latency = round(0.02 * RATE_HZ)
    second = wired[at_frame + latency : at_frame + latency + RATE_HZ // 2]
    assert np.abs(second - tone()[0]).max() < 1e-4
    assert np.abs(wired[RATE_HZ // 2 + latency + 64 : at_frame + latency - 64]).max() < 1e-6


def test_what_comes_too_late_is_not_appended() -> None:
    room = SimulatedRoom(**QUIET)
    run = room.start(admitted(room, tone()), n_frames=2 * RATE_HZ)
    room.wait(1.0)
    assert not run.append(admitted(room, tone()), run.n_played)
    run.close()
    assert not run.append(admitted(room, tone()), run.n_played + RATE_HZ)


def test_stop_is_silent_within_its_time() -> None:
    # Known input: a tone without an end; the wired input tells when it ends, latency apart.
    room = SimulatedRoom(reference=True, **QUIET)
    loop = np.array([0.1 * np.sin(2 * np.pi * 200 * np.arange(RATE_HZ // 2) / RATE_HZ)] * 2)
    signal = admitted(room, loop, repeated_s=5.0)
    run = room.start(signal, n_frames=3 * RATE_HZ, repeat=True)
    room.wait(1.3)
    run.stop()
    n_before = run.n_recorded
    room.wait(1.0)
    wired = run.recorded[1][: run.n_recorded]
    silent_from = n_before + round((STOP_WITHIN_S + 0.03) * RATE_HZ)
    assert np.abs(wired[n_before - RATE_HZ // 100 : n_before]).max() > 0.19
    assert np.abs(wired[silent_from:]).max() < 1e-9
    assert run.n_recorded > n_before + RATE_HZ // 2


def test_recording_ends_with_close_and_with_its_room() -> None:
    room = SimulatedRoom(pace=math.inf)
    run = room.start(admitted(room, tone()), n_frames=10_000)
    room.wait(0.1)
    n_recorded = run.n_recorded
    assert n_recorded == 0.1 * RATE_HZ // block_frames(RATE_HZ) * block_frames(RATE_HZ)
    assert np.isfinite(run.recorded[:, :n_recorded]).all()
    assert np.isnan(run.recorded[:, n_recorded:]).all()
    with pytest.raises(ValueError, match="read-only"):
        run.recorded[0, 0] = 0
    room.wait(1.0)
    assert run.n_recorded == 10_000
    run.close()
    run.close()
    again = room.start(admitted(room, tone()), n_frames=10_000)
    room.wait(0.1)
    again.close()
    room.wait(1.0)
    assert again.n_recorded == n_recorded
    # Another run has other noise.
    assert not np.array_equal(again.recorded[0, :2000], run.recorded[0, :2000])


def test_a_move_is_smooth_and_ends_where_it_should() -> None:
    # Second method: after the move a tone is recorded as in a room that was always so; on the
    # way no sample jumps: a jump by a hundredth of the tone would bend it a hundred times more.
    wave = np.sin(2 * np.pi * 200 * np.arange(RATE_HZ // 2) / RATE_HZ)
    loop = np.array([0.1 * wave, np.zeros(wave.size)])
    recorded = []
    for early in (True, False):
        room = SimulatedRoom(clock_ppm=0.0, **QUIET)
        if early:
            room.move("left", 0.2)
            room.wait(MOVE_S)
        signal = admitted(room, loop, repeated_s=3.0)
        run = room.start(signal, n_frames=round(2.5 * RATE_HZ), repeat=True)
        room.wait(1.0)
        if not early:
            room.move("left", 0.1)
            room.wait(0.1)
            room.move("left", 0.1)
        room.wait(1.4)
        recorded.append(run.recorded[0, : run.n_recorded])
    before, after = (slice(round(a * RATE_HZ), round(b * RATE_HZ)) for a, b in ((0.8, 1), (2, 2.3)))
    assert np.abs(recorded[0][after] - recorded[1][after]).max() < 1e-5
    assert np.abs(recorded[0][before] - recorded[1][before]).max() > 0.01
    bend = np.abs(np.diff(recorded[1][RATE_HZ // 2 :], n=2)).max()
    assert bend < 10 * np.abs(np.diff(recorded[0][RATE_HZ // 2 :], n=2)).max()


def faulty(*faults: Fault, **options: Any) -> SimulatedRun:
    """Record a second of a tone with faults."""
    room = SimulatedRoom(faults=faults, reference=True, **(QUIET | options))
    return ran(room, tone(duration_s=0.8), duration_s=1.0)


CLEAN = faulty().recorded
HERE = slice(round(0.3 * RATE_HZ), round(0.31 * RATE_HZ))
AFTER = slice(HERE.stop, None)


def test_lost_input_makes_the_rest_come_earlier() -> None:
    recorded = faulty(Fault(kind="lost", at_s=0.3, duration_s=0.01)).recorded
    n_lost = HERE.stop - HERE.start
    assert np.array_equal(recorded[:, : HERE.start], CLEAN[:, : HERE.start])
    assert np.array_equal(recorded[:, HERE.start : -n_lost], CLEAN[:, HERE.stop :])


@pytest.mark.parametrize(("kind", "value"), [("zeroed", 0.0), ("undelivered", np.nan)])
def test_missing_input_is_zero_or_nan_in_all_channels(kind: Any, value: float) -> None:
    recorded = faulty(Fault(kind=kind, at_s=0.3, duration_s=0.01)).recorded
    assert np.array_equal(recorded[:, HERE], np.full((2, 480), value), equal_nan=True)
    assert np.array_equal(recorded[:, AFTER], CLEAN[:, AFTER])


def test_a_muted_microphone_leaves_the_wired_input() -> None:
    recorded = faulty(Fault(kind="silence", at_s=0.3)).recorded
    assert not recorded[0, HERE.start :].any()
    assert np.array_equal(recorded[1], CLEAN[1])


def test_gain_clips_at_full_scale() -> None:
    recorded = faulty(Fault(kind="gain", amount_db=40.0, at_s=0.3)).recorded
    assert np.abs(recorded[0]).max() == 1
    assert (np.abs(recorded[0]) == 1).sum() > 1000
    low = np.abs(100 * CLEAN[0]) < 0.99
    low[: HERE.start] = False
    assert np.allclose(recorded[0][low], 100 * CLEAN[0][low], atol=1e-5)


def test_exchanged_loudspeakers_are_those_of_an_exchanged_signal() -> None:
    recorded = faulty(Fault(kind="swapped")).recorded
    truth = ran(
        SimulatedRoom(reference=True, **QUIET), tone(duration_s=0.8)[::-1], duration_s=1.0
    ).recorded
    assert np.allclose(recorded, truth, atol=1e-7)
    assert not np.allclose(recorded, CLEAN, atol=1e-3)


def test_a_burst_has_its_level_and_place() -> None:
    recorded = faulty(Fault(kind="burst", at_s=0.3, duration_s=0.2, amount_db=-30.0)).recorded
    burst = recorded[0] - CLEAN[0]
    inside = slice(round(0.3 * RATE_HZ), round(0.5 * RATE_HZ))
    assert 20 * np.log10(np.std(burst[inside])) == pytest.approx(-30, abs=0.3)
    burst[inside] = 0
    assert not burst.any()


def test_reports_of_the_driver_say_where() -> None:
    run = faulty(Fault(kind="xrun", at_s=0.3, duration_s=0.4, n_reports=3))
    assert [one.kind for one in run.xruns] == ["input overflow"] * 3
    at_s = [one.frame / RATE_HZ for one in run.xruns]
    assert at_s == pytest.approx([0.3, 0.3 + 0.4 / 3, 0.3 + 0.8 / 3], abs=0.011)
    assert np.array_equal(run.recorded, CLEAN)


def test_a_stall_is_a_lost_device_until_one_starts_again() -> None:
    faults = (Fault(kind="stall", at_s=0.3, in_run=1),)
    room = SimulatedRoom(pace=math.inf, faults=faults)
    run = room.start(admitted(room, tone()), n_frames=RATE_HZ)
    room.wait(0.2)
    for _ in range(2):
        with pytest.raises(DeviceLostError, match="stopped delivering"):
            room.wait(0.2)
    assert 0.28 * RATE_HZ < run.n_recorded <= 0.3 * RATE_HZ
    run.close()
    room.wait(0.2)
    assert ran(room, tone(), duration_s=1.0).n_recorded == RATE_HZ


def test_one_run_at_a_time_and_at_its_own_rate() -> None:
    room = SimulatedRoom(pace=math.inf)
    run = room.start(admitted(room, tone()), n_frames=1000)
    with pytest.raises(SoundDeviceError, match="playing already"):
        room.start(admitted(room, tone()), n_frames=1000)
    run.close()
    other = admit(tone(44_100), sample_rate_hz=44_100, ledger=MemoryLedger(room.time_s))
    with pytest.raises(SoundDeviceError, match="runs at 48000 Hz and can't play 44100 Hz"):
        room.start(other, n_frames=1000)


def test_the_pace_is_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    # Known input: what it asks the system to sleep, whose clock stands still here.
    slept: list[float] = []
    monkeypatch.setattr(time, "sleep", slept.append)
    monkeypatch.setattr(time, "monotonic", lambda: 5.0)
    for pace in (4.0, math.inf):
        room = SimulatedRoom(pace=pace)
        room.wait(2.0)
        assert room.time_s() == 2.0
    assert slept == [0.5, 0.0]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"sample_rate_hz": 8000}, "sample_rate_hz 8000"),
        ({"pace": 0.0}, "pace 0"),
        ({"clock_ppm": 5000.0}, "clock_ppm 5000"),
        ({"latency_s": 0.0}, "latency_s 0"),
    ],
)
def test_impossible_rooms_are_refused(options: dict[str, Any], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        SimulatedRoom(**options)


def test_a_loudspeaker_cannot_be_pushed_to_the_seat() -> None:
    with pytest.raises(ValueError, match="away_m -5"):
        SimulatedRoom(pace=math.inf).move("left", -5.0)


def test_the_pair_is_unlike() -> None:
    assert PAIR[0] != PAIR[1]


def test_the_page_shows_the_rooms_own_file_and_faults(tmp_path: Path) -> None:
    # Truth: the program; the page must keep up with it.
    page = (Path(__file__).parents[4] / "docs" / "simulated_room.md").read_text(encoding="utf-8")
    path = tmp_path / "room.toml"
    path.write_text(page.split("```toml\n")[1].split("```")[0], encoding="utf-8")
    shown = read_room(path)
    assert (shown.room, shown.positions) == (ROOM, POSITIONS)
    assert f"{abs(POSITIONS.left_minus_right_m) * 1e3:.1f} mm" in page
    assert POSITIONS.left_minus_right_m < 0
    section = page.split("## Faults")[1].split("##")[0]
    assert tuple(re.findall(r"^\| `(\w+)`", section, re.MULTILINE)) == KINDS
