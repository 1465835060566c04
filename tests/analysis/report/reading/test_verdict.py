"""Every branch of the verdict's wording."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest
from numpy.typing import NDArray

from analysis.basics.air import air_at
from analysis.pair.arrival import ArrivalMatch
from analysis.pair.level import LevelDifference, LevelMatch
from analysis.pair.polarity import PolarityMatch
from analysis.reading import Reading, read_recording
from analysis.recording.checks.check import Check
from analysis.report.reading.checks import say_failed, say_geometry, say_warnings
from analysis.report.reading.verdict import (
    Verdict,
    say_arrival,
    say_bass,
    say_level,
    say_polarity,
    verdict,
)
from analysis.report.reading.verdict_part import LIFTING
from analysis.room.room import Loudspeaker, Point, Positions, rectangular_room
from analysis.signals.programme import Programme
from benchmarks.recorder import record

C = 343.2
FIRST = "Check first that the microphone stands on the middle line."


def arrival(
    difference_mm: float | None,
    *,
    in_room_mm: float = 1.0,
    agree: bool = True,
    withheld: str | None = None,
) -> ArrivalMatch:
    difference_m = None if difference_mm is None else difference_mm * 1e-3
    difference_s = None if difference_m is None else difference_m / C
    return ArrivalMatch(
        left_s=0.0,
        right_s=0.0,
        difference_s=difference_s,
        difference_m=difference_m,
        std_s=None if difference_m is None else 1e-4 / C,
        std_m=None if difference_m is None else 1e-4,
        noise_std_m=0.0,
        mismatch_std_m=1e-4,
        clock_std_m=0.0,
        in_room_std_m=None if difference_m is None else in_room_mm * 1e-3,
        gate_s=(-0.5e-3, 0.8e-3),
        band_hz=(3000.0, 12000.0),
        check_difference_s=None if difference_s is None else difference_s + 20e-3 / C,
        agree=agree,
        withheld=withheld,
    )


def level(difference_db: float | None, std_db: float = 0.1) -> LevelMatch:
    one = LevelDifference(
        left_minus_right_db=difference_db,
        std_db=None if difference_db is None else std_db,
        band_hz=None if difference_db is None else (1250.0, 8000.0),
        bands=(),
        reason=None if difference_db is not None else "noise hides one loudspeaker",
    )
    return LevelMatch(direct=one, seat=one, gate_s=0.8e-3, seat_point_std_db=0.4)


def polarity(
    left: int | None, right: int | None, matched: bool | None, *reasons: str
) -> PolarityMatch:
    return PolarityMatch(
        left=left,
        right=right,
        matched=matched,
        low_correlation=None,
        high_correlation=None,
        reasons=reasons,
    )


def check(name: str, state: str, detail: str = "do this") -> Check:
    return Check(name=name, verdict=state, detail=detail)  # type: ignore[arg-type,unused-ignore]


def test_left_farther() -> None:
    # Closed form: 7.3 mm along the line are 7.3/cos 30 = 8.4 mm straight back, and a
    # microphone off the middle by e makes 2 e sin 30 = e. The sigma of 1.0 mm grows alike,
    # to 1/cos 30 = 1.2 mm.
    said = say_arrival(arrival(7.3))
    assert said.action is not None
    assert said.action.startswith(f"{FIRST} Move the right loudspeaker 7.3 ± 1.0 mm away from")
    assert "straight back that is 8.4 ± 1.2 mm (a half-angle of 30°, assumed)" in said.action
    assert "the left loudspeaker is 7.3 ± 1.0 mm farther" in said.findings[0]
    assert "microphone stands 7.3 mm right of the middle line" in said.findings[0]


def test_right_farther() -> None:
    # Closed form: at 20 degrees 12/cos 20 = 12.8 mm, and e = 12/(2 sin 20) = 17.5 mm.
    said = say_arrival(arrival(-12.0), half_angle_deg=20.0)
    assert said.action is not None
    assert said.action.startswith(f"{FIRST} Move the left loudspeaker 12.0 ± 1.0 mm away from")
    assert "straight back that is 12.8 ± 1.1 mm (a half-angle of 20°)" in said.action
    assert "the right loudspeaker is 12.0 ± 1.0 mm farther" in said.findings[0]
    assert "microphone stands 17.5 mm left of the middle line" in said.findings[0]


def test_a_straight_move_back_adds_the_path_that_is_missing() -> None:
    # Second method: exact geometry. A loudspeaker 2.5 m away at 30 degrees, moved straight
    # back by the advised 40/cos 30 mm, is farther by 40 mm but for the curvature, 0.1 mm.
    angle, path_m, back_m = math.radians(30), 2.5, 0.040 / math.cos(math.radians(30))
    moved_m = math.hypot(path_m * math.sin(angle), path_m * math.cos(angle) + back_m)
    assert moved_m - path_m == pytest.approx(0.040, abs=2e-4)
    said = say_arrival(arrival(40.0))
    assert said.action is not None
    assert f"straight back that is {back_m * 1e3:.1f} ± 1.2 mm" in said.action


def test_every_move_has_its_sigma_the_microphones_place_first_and_the_caution() -> None:
    # Invariant, whatever side, size, angle and agreement; the sigma is the one that verdicts use.
    for difference_mm in (-250.0, -3.0, 3.0, 250.0):
        for angle_deg, agree in ((None, True), (15.0, True), (45.0, False)):
            found = arrival(difference_mm, in_room_mm=1.4, agree=agree)
            said = say_arrival(found, half_angle_deg=angle_deg)
            assert said.action is not None
            side = "right" if difference_mm > 0 else "left"
            size = f"{abs(difference_mm):.1f} ± 1.4 mm"
            start = f"{FIRST} Move the {side} loudspeaker {size} away from the seat"
            assert said.action.startswith(start)
            assert said.action.count(" ± ") == 2
            assert said.caution == LIFTING


def test_no_caution_on_lifting_without_a_move() -> None:
    # Known input: equal, undecided, withheld.
    for found in (arrival(0.4), arrival(5.0, in_room_mm=3.0), arrival(None, withheld="noise")):
        assert say_arrival(found).caution is None


def test_a_short_finding_shares_the_line_before_it() -> None:
    # Known input: the second text fits behind the first; of the last two one fits to the 78th
    # column, one is a letter too long. Nothing stands behind an action.
    long = "x" * 71
    said = Verdict(
        actions=("Do.",), findings=("One.", "Two.", long), cautions=("Off.", long, "End..")
    )
    assert said.lines() == ["Do.", "  One. Two.", f"  {long} Off.", f"  {long}", "  End.."]


def test_equal_within_tolerance_and_uncertainty() -> None:
    # Known input: 1.4 mm of difference, a tolerance of 2 mm.
    said = say_arrival(arrival(1.4))
    assert said.action is None
    assert said.findings == ("Arrival: equal within 2.0 mm (left minus right +1.4 ± 1.0 mm).",)


@pytest.mark.parametrize(
    ("difference_mm", "in_room_mm", "tolerance_m"),
    [(0.1, 3.0, 2e-3), (0.3, 1.0, 0.5e-3), (5.0, 3.0, 2e-3)],
)
def test_undecided(difference_mm: float, in_room_mm: float, tolerance_m: float) -> None:
    # Known input: an uncertainty above the tolerance, or a difference below two sigma.
    said = say_arrival(arrival(difference_mm, in_room_mm=in_room_mm), tolerance_m=tolerance_m)
    assert said.action is not None
    assert "Measure again before moving" in said.action
    assert "undecided" in said.findings[0]
    assert "equal" not in said.findings[0]


def test_a_wide_tolerance_is_the_users() -> None:
    # Known input: a certain difference that the user doesn't mind.
    assert say_arrival(arrival(4.0), tolerance_m=5e-3).action is None


def test_withheld_says_why() -> None:
    # Known input: once by the estimator, once by a failed check.
    said = say_arrival(arrival(None, withheld="noise leaves 6.0 mm, too much to act on"))
    assert said.findings == ("Arrival withheld: noise leaves 6.0 mm, too much to act on.",)
    said = say_arrival(None, reason="spoilt by dropout")
    assert said.findings == ("Arrival withheld: spoilt by dropout.",)
    assert said.action is not None


def test_two_methods_that_disagree_are_said() -> None:
    # Known input: the second method is 20 mm off.
    said = say_arrival(arrival(7.3, agree=False))
    assert any("second method says +27.3 mm" in text for text in said.findings)


@pytest.mark.parametrize("angle_deg", [0.0, 90.0, -5.0, math.nan])
def test_an_impossible_angle_is_refused(angle_deg: float) -> None:
    # Bad argument.
    with pytest.raises(ValueError, match="half_angle_deg"):
        say_arrival(arrival(7.3), half_angle_deg=angle_deg)


def test_an_impossible_tolerance_is_refused() -> None:
    # Bad argument.
    with pytest.raises(ValueError, match="tolerance_m 0"):
        say_arrival(arrival(7.3), tolerance_m=0)


def test_level() -> None:
    # Known input: beyond tolerance either way, within it, uncertain, withheld, missing.
    louder = say_level(level(0.8))
    assert louder.action is not None
    assert "left loudspeaker down by 0.8 ± 0.1 dB" in louder.action
    assert "left 0.8 ± 0.1 dB louder in the direct sound" in louder.findings[0]
    quieter = say_level(level(-1.2))
    assert quieter.action is not None
    assert "balance towards the left" in quieter.action
    assert say_level(level(0.3)).action is None
    assert say_level(level(0.8, std_db=0.6)).action is None
    assert "alike in the direct sound" in say_level(level(0.01)).findings[0]
    assert say_level(level(None)).findings == ("Level: withheld: noise hides one loudspeaker.",)
    assert "not known" in say_level(None).findings[0]


def test_a_swapped_wire_comes_with_the_safe_way_to_mend_it() -> None:
    # Known input: a pair that isn't wired alike.
    said = say_polarity(polarity(1, -1, False))
    assert said.action is not None
    assert said.action.startswith("Switch the amplifier off")
    assert "ONE loudspeaker" in said.action
    assert "swapped" in said.findings[0]


def test_other_polarities_need_nothing() -> None:
    # Known input: alike, alike but inverted, undecided, not measured.
    assert say_polarity(polarity(1, 1, True)).findings == ("Polarity: alike.",)
    assert "harmless" in say_polarity(polarity(-1, -1, True)).findings[0]
    undecided = say_polarity(polarity(None, 1, None, "noise rules"))
    assert undecided.action is None
    assert "undecided (noise rules)" in undecided.findings[0]
    assert say_polarity(None).findings == ()


def test_bass_names_bands_causes_and_moves(before: Any) -> None:
    # Known input: the invented room; its worst features have causes.
    findings = say_bass(before.bass).findings
    assert findings[0].startswith("Bass against 200 to 1000 Hz: 20 to 50 Hz")
    assert findings[0].count("dB") == 3
    assert 1 <= len(findings) - 1 <= 2
    for text in findings[1:]:
        assert text.startswith(("Peak of ", "Dip of "))
        assert " Hz: " in text


def test_one_loudspeaker_alone_is_said(before: Any) -> None:
    # Known input: the right one wasn't heard.
    alone = replace(before.bass, right=None, both=None)
    assert "left loudspeaker alone" in say_bass(alone).findings[0]
    assert say_bass(replace(alone, left=None)).findings == ()


def test_checks_are_named_with_what_to_do() -> None:
    # Known input: one of each verdict.
    checks = (
        check("clipping", "fail", "flat tops: turn the gain down"),
        check("hum", "warn", "mains hum"),
        check("noise", "pass"),
    )
    failed = say_failed(checks)
    assert failed.action == "Mend this first and record again: clipping."
    assert failed.findings == ("Failed, clipping: flat tops: turn the gain down.",)
    assert say_warnings(checks) == ("Warning, hum: mains hum.",)
    assert say_failed((check("noise", "pass"),)).action is None


def test_a_doubtful_geometry_comes_before_any_move() -> None:
    # Known input: sound and tape disagree.
    said = say_geometry((check("geometry", "warn"),))
    assert said is not None
    assert "Before any move" in said
    assert say_geometry((check("geometry", "pass"),)) is None


@pytest.fixture(scope="module")
def reading(programme: Programme, room_responses: NDArray[Any]) -> Reading:
    """Return a reading of an invented pair whose left arrives six samples early."""
    recorded = record(programme, room_responses, clock_ppm=30.0)
    return read_recording(recorded, recorded_hz=48_000, programme=programme, air=air_at(20.0))


def test_the_verdict_on_a_reading(reading: Reading) -> None:
    # Known input: the right loudspeaker is 6 samples, 42.9 mm, farther.
    said = verdict(reading)
    assert isinstance(said, Verdict)
    assert said.actions[0].startswith(f"{FIRST} Move the left loudspeaker 42.9 ± 1.0 mm away")
    assert "42.9 ± 1.0 mm farther" in said.findings[0]
    assert all(len(line) <= 78 for line in said.lines())
    assert said.cautions[-1] == LIFTING
    assert " ".join(" ".join(said.lines()).split()).endswith(LIFTING)


def test_the_first_thing_comes_first(reading: Reading) -> None:
    # Invariant: mend the recording, then the wires, then make sure of the sides, then move.
    broken = replace(
        reading,
        polarity=polarity(1, -1, False),
        checks=(check("clipping", "fail"), check("geometry", "warn")),
        level=level(1.0),
    )
    starts = ("Mend this", "Switch the amplifier off", "Before any move", FIRST, "Turn the")
    actions = verdict(broken).actions
    assert len(actions) == len(starts)
    for text, start in zip(actions, starts, strict=True):
        assert text.startswith(start)
    lines = verdict(broken).lines()
    assert lines[0].startswith("1. Mend this")


def test_a_withheld_arrival_after_a_failed_check_asks_for_one_thing(reading: Reading) -> None:
    # Known input: nothing to move, the recording must be mended.
    broken = replace(reading, arrival=None, level=None, checks=(check("dropout", "fail"),))
    said = verdict(broken)
    assert said.actions == ("Mend this first and record again: dropout.",)
    assert "Arrival withheld: spoilt by dropout." in said.findings


def test_nothing_to_do_is_said(reading: Reading) -> None:
    # Known input: everything within tolerance.
    done = replace(
        reading,
        arrival=arrival(0.4),
        level=level(0.1),
        polarity=polarity(1, 1, True),
        checks=(check("noise", "pass"),),
    )
    assert verdict(done).actions[0].startswith("Nothing to do")


def read_with_tape(
    programme: Programme, responses: NDArray[Any], left_minus_right_m: float
) -> Reading:
    """Return the reading again, in a room whose file holds this taped difference."""
    positions = Positions(
        left=Loudspeaker(tweeter=Point(x_m=1.0, y_m=1.2 - left_minus_right_m, z_m=1.0)),
        right=Loudspeaker(tweeter=Point(x_m=3.0, y_m=1.2, z_m=1.0)),
        seat=Point(x_m=2.0, y_m=3.0, z_m=1.0),
    )
    return read_recording(
        record(programme, responses, clock_ppm=30.0),
        recorded_hz=48_000,
        programme=programme,
        air=air_at(20.0),
        room=(rectangular_room(length_m=5.0, width_m=4.0, height_m=2.5), positions),
    )


def test_exchanged_channels_order_no_move(
    programme: Programme, room_responses: NDArray[Any]
) -> None:
    # Known input: the tape has the left 50 mm nearer to the front wall, 44 mm farther from the
    # seat, and in the sound the right is 42.9 mm farther: with exchanged channels just this.
    exchanged = replace(
        read_with_tape(programme, room_responses, 0.05), level=level(1.0), polarity=None
    )
    assert exchanged.contradicted_by_tape
    said = verdict(exchanged)
    assert len(said.actions) == 1
    assert said.actions[0].startswith("Move nothing: by sound the right loudspeaker is farther, ")
    assert "by the room file the left one" in said.actions[0]
    text = " ".join(" ".join(said.lines()).split())
    for order in ("Move the", "Turn the", LIFTING):
        assert order not in text
    assert len(said.lines()) <= 20


@pytest.mark.parametrize("taped_m", [-0.05, -0.01, 0.0, 0.02])
def test_a_tape_that_agrees_or_cannot_tell_keeps_the_move(
    programme: Programme, room_responses: NDArray[Any], taped_m: float
) -> None:
    # Closed form: two sigma of a taped difference are 2 × 10 mm × sqrt 2 = 28 mm, so a taped
    # 20 mm the other way contradicts nothing.
    reading = read_with_tape(programme, room_responses, taped_m)
    assert not reading.contradicted_by_tape
    assert any("Move the left loudspeaker" in action for action in verdict(reading).actions)
