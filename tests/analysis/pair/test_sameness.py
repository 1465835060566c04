"""Whether left and right are one sound.

Truth throughout: what was planted. One loudspeaker's response stands on both channels, or two
loudspeakers stand in an image-source room (rir_generator, which nobody here wrote). The limits
were found on rooms of other seeds.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.basics.air import air_at
from analysis.pair.sameness import ONE_MM_DB, Sameness, check_sameness, compare_sides
from analysis.reading import Reading, read_recording
from analysis.report.reading.lines import reading_lines
from analysis.report.reading.verdict import verdict
from analysis.signals.deconvolution import LEAD_S
from analysis.signals.impulse_response import ImpulseResponse
from benchmarks.mirrored_rooms import mirrored_pair, one_loudspeaker, unlike_pair
from benchmarks.planted import short_programme
from benchmarks.recorder import record

Float = NDArray[np.float64]

RATE_HZ = 48_000


@lru_cache(maxsize=64)
def room_off_the_middle(seed: int, off_m: float) -> Float:
    """Return a mirrored room's responses, kept for the next level of noise."""
    return mirrored_pair(seed, off_m)


def heard(pair: Float, *, noise_db: float, seed: int, rate_hz: int = RATE_HZ) -> Sameness:
    """Return what two passes a side say, with white noise so far below the left's peak."""
    rng = np.random.default_rng(seed)
    std = np.abs(pair[0]).max() * 10 ** (noise_db / 20)
    sides = []
    for response in pair:
        samples = np.zeros(rate_hz)
        first = round(LEAD_S * rate_hz)
        samples[first : first + response.size] = response
        passes = std * rng.standard_normal((2, rate_hz))
        sides.append(
            ImpulseResponse(
                samples=samples + passes.mean(axis=0),
                sample_rate_hz=rate_hz,
                start_s=-LEAD_S,
                noise=(passes[0] - passes[1]) / 2,
                band_hz=(20.0, 20_000.0),
                n_repeats=2,
            )
        )
    return compare_sides(*sides)


def read(pair: Float, *, snr_db: float, order: str = "LRRL", rate_hz: int = RATE_HZ) -> Reading:
    """Read a recording of passes of 2 s."""
    programme = short_programme(order=order, sample_rate_hz=rate_hz)
    samples = record(
        programme,
        pair,
        clock_ppm=-40.0,
        snr_db=snr_db,
        rng=np.random.default_rng(3),
        start_s=0.8,
        extra_s=0.8,
    )
    return read_recording(samples, recorded_hz=rate_hz, programme=programme, air=air_at(20.0))


@pytest.mark.parametrize(
    ("rate_hz", "snr_db", "gain"),
    [(44_100, 50.0, 1.0), (48_000, 30.0, 1.0), (96_000, 20.0, 1.0), (48_000, 40.0, -0.9)],
)
def test_a_mono_player_gets_one_question(rate_hz: int, snr_db: float, gain: float) -> None:
    """Known input: one loudspeaker plays both channels; once softer and wired inverted too."""
    pair = one_loudspeaker(7001, sample_rate_hz=rate_hz) * np.array([[1.0], [gain]])
    reading = read(pair, snr_db=snr_db, rate_hz=rate_hz)
    assert reading.sameness is not None
    assert reading.sameness.state == "same"
    assert reading.sameness.gain_db == pytest.approx(-20 * math.log10(abs(gain)), abs=0.02)
    assert not reading.usable
    assert reading.arrival is not None
    assert reading.arrival.difference_m is None
    assert (reading.level, reading.polarity) == (None, None)
    said = verdict(reading)
    assert len(said.actions) == 1
    assert said.actions[0].startswith("Did left and right come from two places?")
    text = " ".join(reading_lines(reading))
    for wrong in ("Nothing to do", "Move the", "Turn the", "swap the two", "Measure again"):
        assert wrong not in text
    assert len(said.lines()) <= 20


def test_two_loudspeakers_get_no_question() -> None:
    """Known input: a usual pair, with repeats and with one pass a side."""
    for order in ("LRRL", "LR"):
        reading = read(unlike_pair(7002), snr_db=30.0, order=order)
        assert reading.sameness is not None
        assert reading.sameness.state == "different"
        assert "two places" not in " ".join(verdict(reading).actions)


def test_one_pass_a_side_is_judged_by_the_noise() -> None:
    """Known input: one loudspeaker on both channels, and no repeat to compare with."""
    reading = read(one_loudspeaker(7003), snr_db=30.0, order="LR")
    assert reading.sameness is not None
    assert reading.sameness.state == "same"


def test_noise_that_hides_it_is_said() -> None:
    """Known input: one loudspeaker on both channels under noise: no sure word either way."""
    reading = read(one_loudspeaker(7004), snr_db=0.0)
    assert reading.sameness is not None
    assert reading.sameness.state == "unknown"
    check = next(check for check in reading.checks if check.name == "same_sound")
    assert check.verdict == "warn"
    assert not any(text.startswith("Nothing to do") for text in verdict(reading).actions)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_one_loudspeaker_is_found_in_any_room(rate_hz: int) -> None:
    """Known input: one response on both channels, in ten rooms a rate."""
    for seed in range(7100, 7110):
        pair = one_loudspeaker(seed, sample_rate_hz=rate_hz)
        assert heard(pair, noise_db=-60.0, seed=seed, rate_hz=rate_hz).state == "same", seed


@pytest.mark.parametrize("noise_db", [-70.0, -50.0, -30.0])
def test_usual_pairs_never_pass_for_one_sound(noise_db: float) -> None:
    """Known input: 60 usual pairs in rooms that mirror nothing."""
    for seed in range(7200, 7260, 3):
        seed += round(-noise_db / 10) % 3  # other rooms at each noise
        assert heard(unlike_pair(seed), noise_db=noise_db, seed=seed).state == "different", seed


@pytest.mark.parametrize("noise_db", [-75.0, -60.0, -45.0])
def test_mirrored_rooms_off_the_middle_never_pass_for_one_sound(noise_db: float) -> None:
    """Known input: identical loudspeakers, mirrored walls, the microphone 0.2 to 5 mm off."""
    for at, off_mm in enumerate(np.geomspace(0.2, 5.0, 50)):
        pair = room_off_the_middle(7300 + at, float(off_mm) * 1e-3 * (-1) ** at)
        found = heard(pair, noise_db=noise_db, seed=at)
        assert found.state != "same", off_mm
        if noise_db <= -60:
            assert found.state == "different", off_mm


def test_the_exact_middle_of_a_mirrored_room_is_asked() -> None:
    """Known input: nothing can tell it from one loudspeaker, so the question must come."""
    for seed in range(7400, 7420):
        found = heard(mirrored_pair(seed, 0.0), noise_db=-60.0, seed=seed)
        assert check_sameness(found).verdict == "fail"


def test_what_a_millimetre_leaves() -> None:
    """Geometry: the levels that the limits rest on, in the median of 15 fresh rooms."""
    found = [heard(mirrored_pair(seed, 1e-3), noise_db=-90.0, seed=seed) for seed in range(15)]
    for octave_hz, level_db in ONE_MM_DB.items():
        late_db = [
            cell.residual_db
            for one in found
            for cell in one.cells
            if (cell.octave_hz, cell.part) == (octave_hz, "late")
        ]
        assert np.median(late_db) == pytest.approx(level_db, abs=2.5)


def test_low_bands_never_count() -> None:
    """Known input: a sweep that ends below the lowest octave's top says nothing."""
    pair = unlike_pair(7500)
    sides = [
        ImpulseResponse(
            samples=np.pad(response, (2400, 24_000)),
            sample_rate_hz=RATE_HZ,
            start_s=-LEAD_S,
            noise=np.random.default_rng(at).standard_normal(RATE_HZ) * 1e-5,
            band_hz=(20.0, 1500.0),
        )
        for at, response in enumerate(pair)
    ]
    found = compare_sides(*sides)
    assert (found.state, found.cells) == ("unknown", ())
    whole = compare_sides(*(replace(side, band_hz=(20.0, 2100.0)) for side in sides))
    assert {cell.octave_hz for cell in whole.cells} == {1000}
