"""What stands behind the verdict: complete, plain, and narrow enough."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from numpy.typing import NDArray

from analysis.basics.air import air_at
from analysis.reading import Reading, read_recording
from analysis.recording.alignment import PassSummary
from analysis.recording.clock import Clock
from analysis.report.reading.details import (
    air_lines,
    arrival_lines,
    bass_sections,
    clock_lines,
    detail_sections,
    level_lines,
    pass_lines,
    polarity_lines,
    score_sections,
)
from analysis.signals.programme import Programme
from benchmarks.recorder import record


@pytest.fixture(scope="module")
def reading(programme: Programme, room_responses: NDArray[Any], before: Any) -> Reading:
    """Return a reading with the causes of an invented room."""
    recorded = record(programme, room_responses)
    reading = read_recording(recorded, recorded_hz=48_000, programme=programme, air=air_at(21.0))
    return replace(reading, bass=before.bass, prediction=before.prediction)


def test_every_section_is_there_and_fits(reading: Reading) -> None:
    # Invariant: 78 columns, no colour codes, no empty section.
    sections = detail_sections(
        reading, microphone=["correction added: " + "+0.1 dB at 100 Hz, " * 9]
    )
    headings = [heading for heading, _ in sections]
    assert headings[:9] == [
        "Checks",
        "Passes",
        "Clock",
        "Air",
        "Microphone",
        "Arrival",
        "Level, left minus right",
        "Polarity",
        "Distortion",
    ]
    for _, lines in sections:
        assert lines
        assert [line for line in lines if len(line) > 78 or "\x1b" in line] == []


def test_every_check_is_named(reading: Reading) -> None:
    # Invariant: as many as the reading has.
    text = "\n".join(dict(detail_sections(reading))["Checks"])
    for check in reading.checks:
        assert check.name.replace("_", " ") in text


def test_scores_are_shown_on_request_only(reading: Reading) -> None:
    # Known input: the causes of an invented room have scores with parts.
    plain = "\n".join(line for _, lines in detail_sections(reading) for line in lines)
    full = "\n".join(line for _, lines in detail_sections(reading, scores=True) for line in lines)
    assert "coupling_seat" not in plain
    assert "coupling_seat" in full
    for _, lines in score_sections(reading.bass):
        assert all(len(line) <= 78 for line in lines)


def test_a_feature_has_one_line_with_its_cause(before: Any) -> None:
    # Known input: the strongest peak of the room, mode (2, 0, 0) at 63.6 Hz.
    lines = dict(bass_sections(before.bass))["Bass, both together"]
    (line,) = [line for line in lines if line.startswith("peak") and " 63." in line]
    assert "mode 2,0,0" in line


def test_arrival_lines_tell_the_parts(before: Any) -> None:
    # Closed form: at 30 degrees a microphone 1 mm off makes 2 sin 30 = 1 mm.
    text = "\n".join(arrival_lines(before.arrival, 30.0))
    for part in ("noise", "unlike loudspeakers", "clock", "draughts", "second method", "agrees"):
        assert part in text
    assert "1 mm off makes 1.0 mm" in text
    assert "assumed" in "\n".join(arrival_lines(before.arrival))


def test_what_is_withheld_says_so(before: Any) -> None:
    # Known input: missing records.
    withheld = replace(before.arrival, difference_m=None, withheld="too noisy")
    assert arrival_lines(withheld) == ["withheld: too noisy"]
    assert arrival_lines(None) == ["withheld, see the checks"]
    assert level_lines(None) == ["withheld, see the checks"]
    assert polarity_lines(None) == ["not known, see the checks"]


def test_clock_lines() -> None:
    # Known input: measured, not measured, samples lost.
    clock = Clock(drift_ppm=-80.123, std_ppm=0.02, measured=True, left_right_std_s=1e-7)
    assert clock_lines(clock)[0] == "recorder 80.12 ± 0.02 ppm slow, taken out"
    unknown = replace(clock, drift_ppm=0.0, std_ppm=100.0, measured=False)
    assert clock_lines(unknown)[0] == "not measured; taken as 0 ± 100 ppm"
    lost = replace(clock, jump_s=-0.0107, jump_after=1)
    assert "10.70 ms lost between passes, after pass 2" in clock_lines(lost)
    assert "it's not known where" in clock_lines(replace(lost, jump_located=False))[1]


def test_pass_lines() -> None:
    # Known input.
    whole = PassSummary(number=1, side="left", start_s=2.35, found=True, left_out=())
    part = replace(whole, number=2, found=False, left_out=("a click at 3.1 s",))
    assert pass_lines([whole, part]) == [
        "1  left   at 2.35 s: used whole",
        "2  left   at 2.35 s, placed by the others: left out: a click at 3.1 s",
    ]


def test_air_lines() -> None:
    # Published table: 343.2 m/s at 20 degrees (ISO 9613-1, second-hand).
    lines = air_lines(air_at(20.0, temperature_std_c=1.0))
    assert lines[0] == "20.0 ± 1.0 °C"
    assert "343.2 ± " in lines[1]
    assert "50 % relative humidity" in air_lines(air_at(20.0, relative_humidity_percent=50.0))[0]
