"""Readings of recordings in which a sample was lost, the clock wandered or the microphone moved.

Truth: planted in simulated recordings (`benchmarks.repeats`), whose arrival is known from the
geometry at the microphone's first place.
"""

from __future__ import annotations

import pytest

from analysis.reading import Reading
from benchmarks import faults
from benchmarks.planted import Planted, default_programme, short_programme
from benchmarks.repeats import Drawn, draw, lose_between, off_m, read, recorded

MOST_OFF_M = 3e-3


def drawn(*, order: str = "LRRL", rate_hz: int = 48_000, snr_db: float = 40.0) -> Drawn:
    """Return the short programme with a clock that is 35 ppm fast."""
    programme = short_programme(order=order, sample_rate_hz=rate_hz)
    return Drawn(programme=programme, snr_db=snr_db, clock_ppm=35.0)


def verdict(reading: Reading, name: str) -> tuple[str, str]:
    """Return a check's verdict and sentence."""
    check = next(check for check in reading.checks if check.name == name)
    return check.verdict, check.detail


def assert_honest(reading: Reading, one: Planted) -> None:
    """Left minus right is withheld, or right within two of its sigmas."""
    error_m = off_m(reading, one)
    if error_m is not None:
        assert reading.arrival is not None
        assert reading.arrival.std_m is not None
        assert abs(error_m) < 2 * reading.arrival.std_m


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
@pytest.mark.parametrize("snr_db", [20.0, 50.0])
def test_sample_lost_in_the_middle_pause_is_mended(rate_hz: int, snr_db: float) -> None:
    """Known input: place and number come out, the arrival as without it."""
    clean = recorded(31, drawn(rate_hz=rate_hz, snr_db=snr_db))
    one = lose_between(clean, 1, 1)
    reading = read(one)
    assert reading.aligned.repeats.kind == "lost"
    assert verdict(reading, "dropout")[0] == "warn"
    assert "1 sample missing in the pause" in verdict(reading, "dropout")[1]
    lost_m, clean_m = off_m(reading, one), off_m(read(clean), clean)
    assert lost_m is not None
    assert clean_m is not None
    assert abs(lost_m - clean_m) < 0.1e-3


@pytest.mark.parametrize("after", [0, 2])
@pytest.mark.parametrize(("rate_hz", "withheld"), [(44_100, True), (48_000, True), (96_000, False)])
def test_sample_lost_in_an_outer_pause(after: int, rate_hz: int, withheld: bool) -> None:
    """Known input: half a sample either way, withheld where that is more than 3 mm."""
    one = lose_between(recorded(32, drawn(rate_hz=rate_hz)), after, 1)
    reading = read(one)
    assert reading.aligned.repeats.kind == "lost"
    assert "1 sample lost or repeated in a pause" in verdict(reading, "dropout")[1]
    assert (off_m(reading, one) is None) == withheld
    assert verdict(reading, "dropout")[0] == ("fail" if withheld else "warn")
    assert_honest(reading, one)
    assert verdict(reading, "microphone")[0] == "pass"


def test_sample_lost_in_the_default_programme() -> None:
    """Known input: 0.9 ppm between L and L, which passed as wander: 3 to 7 mm off, no word."""
    programme = default_programme()
    one = recorded(33, Drawn(programme=programme, snr_db=40.0, clock_ppm=30.0))
    for after in range(3):
        lost = lose_between(one, after, 1)
        reading = read(lost)
        assert reading.aligned.repeats.kind == "lost"
        assert verdict(reading, "dropout")[0] != "pass"
        assert_honest(reading, lost)


@pytest.mark.parametrize("after", [0, 2])
def test_alternating_order_carries_a_quarter_sample(after: int) -> None:
    """Known input: in L R L R an outer loss leaves a quarter of a sample either way."""
    one = lose_between(recorded(34, drawn(order="LRLR")), after, 1)
    reading = read(one)
    assert reading.aligned.repeats.kind == "lost"
    assert_honest(reading, one)


@pytest.mark.parametrize("after", [0, 1, 2])
@pytest.mark.parametrize("snr_db", [20.0, 40.0])
@pytest.mark.parametrize("move_m", [1e-3, 3e-3, 10e-3])
def test_moved_microphone_is_named(move_m: float, snr_db: float, after: int) -> None:
    """Known input: to a factor of two, and 10 mm withhold the arrival."""
    one = recorded(35, drawn(snr_db=snr_db), move_m=move_m, after=after)
    reading = read(one)
    assert reading.aligned.repeats.kind == "moved"
    assert move_m / 2 < reading.aligned.repeats.moved_m < 2 * move_m
    assert verdict(reading, "microphone")[0] == ("fail" if move_m > 5e-3 else "warn") or (
        move_m == MOST_OFF_M
    )
    assert verdict(reading, "dropout")[0] == "pass"
    if move_m > 5e-3:
        assert off_m(reading, one) is None
    assert_honest(reading, one)


def test_lost_sample_beside_a_small_move_is_not_hidden() -> None:
    """Known input: 1 mm carries half a millimetre, but the lost sample is 3.5 mm either way."""
    one = recorded(36, drawn(snr_db=40.0), move_m=1e-3, after=1)
    reading = read(lose_between(one, 0, 1))
    assert reading.aligned.repeats.kind == "moved"
    assert_honest(reading, one)


@pytest.mark.parametrize("ppm", [1.0, 3.0])
@pytest.mark.parametrize("period_s", [25.0, 40.0])
def test_wandering_clock_is_named_and_carried(ppm: float, period_s: float) -> None:
    """Known input: the rate swings by so much; at 3 ppm the arrival was 7 mm off at ± 1.1."""
    programme = default_programme()
    one = recorded(37, Drawn(programme=programme, snr_db=40.0, clock_ppm=30.0))
    swung = faults.clock_wander(one.samples, sample_rate_hz=48_000, peak_ppm=ppm, period_s=period_s)
    reading = read(one.spoilt(swung))
    assert reading.aligned.repeats.kind in {"wander", "unclear"}
    if reading.aligned.repeats.kind == "wander":
        assert "its rate changed by" in verdict(reading, "clock")[1]
    assert verdict(reading, "microphone")[0] == "pass"
    assert_honest(reading, one)


@pytest.mark.parametrize("seed", range(40, 46))
def test_clean_recordings_raise_no_alarm(seed: int) -> None:
    """Known input: nothing was planted; sixty more are in `benchmarks.repeats`."""
    reading = read(recorded(seed, draw(seed)))
    assert reading.aligned.repeats.kind == "alike"
    assert verdict(reading, "microphone")[0] == "pass"


def test_single_passes_say_that_they_cannot_tell() -> None:
    """Edge: L R has no repeats."""
    reading = read(recorded(47, drawn(order="LR")))
    assert reading.aligned.repeats.kind == "unknown"
    assert "no two clean passes" in verdict(reading, "microphone")[1]
