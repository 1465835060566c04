"""Whole readings of simulated recordings: clean ones of every kind pass all checks.

Truth throughout: the geometry of a simulated room (rir_generator, an image-source library
nobody here wrote), and what the simulated player and recorder were told to do. No number here
was tuned on these rooms.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.basics.air import air_at
from analysis.reading import Reading, read_recording
from analysis.recording.checks.channels import choose_channel
from analysis.recording.checks.check import NAMES
from analysis.recording.extraction import NoPassError
from analysis.report.reading.verdict import verdict
from analysis.signals.resampling import resample
from analysis.signals.sweep import Sweep
from benchmarks import faults
from benchmarks.planted import (
    RATE_HZ,
    Planted,
    default_programme,
    planted,
    room,
    short_programme,
)
from benchmarks.recorder import noise_samples, programme_samples, record, record_played

Float = NDArray[np.float64]

AIR = air_at(20.0)


def read(one: Planted) -> Reading:
    """Read a planted recording."""
    return read_recording(
        one.samples, recorded_hz=one.sample_rate_hz, programme=one.programme, air=AIR
    )


def not_passed(reading: Reading) -> dict[str, str]:
    """Return the checks that didn't pass."""
    return {check.name: check.verdict for check in reading.checks if check.verdict != "pass"}


def assert_arrival_right(reading: Reading, one: Planted) -> None:
    """Hold the arrival against the geometry: within 1 mm, and within what is stated.

    How honest the stated sigma is, is another test's matter; here it counts as 0.1 mm at least.
    """
    assert reading.arrival is not None
    assert reading.arrival.difference_s is not None
    assert reading.arrival.std_s is not None
    wrong_s = reading.arrival.difference_s - one.difference_s
    assert abs(wrong_s) < 4 * np.hypot(reading.arrival.std_s, 3e-7)
    assert abs(wrong_s) < 3e-6


def assert_clean(one: Planted) -> Reading:
    """Read a recording that has nothing wrong, and see that nothing is said to be."""
    reading = read(one)
    assert tuple(check.name for check in reading.checks) == NAMES
    assert not_passed(reading) == {}
    assert reading.usable
    assert_arrival_right(reading, one)
    assert reading.level is not None
    return reading


@pytest.mark.parametrize(
    ("seed", "snr_db", "clock_ppm"),
    [(1, 60.0, 0.0), (2, 40.0, -200.0), (3, 20.0, 200.0), (4, 30.0, 63.7)],
)
def test_clean_recordings_pass(seed: int, snr_db: float, clock_ppm: float) -> None:
    """Geometry; the clock is found to 0.1 ppm."""
    one = planted(default_programme(), seed=seed, snr_db=snr_db, clock_ppm=clock_ppm)
    reading = assert_clean(one)
    assert reading.aligned.clock.drift_ppm == pytest.approx(clock_ppm, abs=0.1)


@pytest.mark.parametrize("seed", [2, 5])
def test_noisy_recording_is_still_read(seed: int) -> None:
    """Geometry at 5 dB: within 1 mm, and no check fails."""
    reading = read(planted(default_programme(), seed=seed, snr_db=5.0, clock_ppm=-110.0))
    assert set(not_passed(reading)) <= {"noise"}
    assert reading.usable
    assert_arrival_right(reading, planted(default_programme(), seed=seed))


def scaled(peak_dbfs: float, bits: int | None) -> Callable[[Float], Float]:
    """Return a recorder that sets the peak and rounds."""

    def change(samples: Float) -> Float:
        samples = samples * 10 ** (peak_dbfs / 20) / np.abs(samples).max()
        return samples if bits is None else faults.quantised(samples, bits=bits)

    return change


CHANGES: dict[str, Callable[[Float], Float]] = {
    "near full scale, 16 bit": scaled(-0.1, 16),
    "-40 dBFS, 16 bit": scaled(-40, 16),
    "-56 dBFS, 24 bit": scaled(-56, 24),
    "8 bit": scaled(-0.1, 8),
    "float above full scale": scaled(20, None),
    "single precision": lambda x: x.astype(np.float32).astype(float),
    "direct current": lambda x: x + 0.1,
    "microphone inverted": lambda x: -x,
    "digital silence around": lambda x: np.pad(x, 2 * RATE_HZ),
}


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES.keys())
def test_what_a_recorder_may_do(change: Callable[[Float], Float]) -> None:
    """Geometry: gain, rounding, offset, polarity and silence change nothing."""
    one = planted(short_programme(), seed=6)
    assert_clean(one.spoilt(change(one.samples)))


def test_too_quiet_for_the_file_is_said() -> None:
    """Known input: a peak of -60 dBFS is quiet, in 16 bit as well, and nothing else is."""
    one = planted(short_programme(), seed=6)
    for bits in (16, 24):
        reading = read(one.spoilt(scaled(-60, bits)(one.samples)))
        assert not_passed(reading) == {"too_quiet": "warn"}


@pytest.mark.parametrize("bits", [None, 16, 24])
def test_without_any_noise(bits: int | None) -> None:
    """Geometry: a recording without noise, as a simulation makes, has nothing wrong."""
    one = planted(short_programme(), seed=7, snr_db=None)
    samples = one.samples if bits is None else faults.quantised(one.samples, bits=bits)
    assert_clean(one.spoilt(samples))


@pytest.mark.parametrize(
    ("played_hz", "recorded_hz"),
    [(48_000, 44_100), (48_000, 96_000), (44_100, 48_000), (96_000, 48_000)],
)
def test_rates_may_differ(played_hz: int, recorded_hz: int) -> None:
    """Geometry: evaluated in closed form at the recorder's own rate."""
    programme = short_programme(sample_rate_hz=played_hz)
    assert_clean(planted(programme, seed=8, sample_rate_hz=recorded_hz))


def test_rate_of_192_khz() -> None:
    """Geometry: a programme at 192 kHz that sweeps higher than the recorder hears."""
    sweep = Sweep(start_hz=20, stop_hz=40_000, duration_s=2, level_dbfs=-20)
    high = replace(short_programme(sample_rate_hz=192_000), sweep=sweep)
    programme = replace(high, sample_rate_hz=96_000)
    one = planted(programme, seed=8, sample_rate_hz=96_000)
    samples = faults.resampled(one.samples, sample_rate_hz=96_000, to_hz=48_000)
    assert_clean(replace(one.spoilt(samples, sample_rate_hz=48_000), programme=high))


@pytest.mark.parametrize("order", ["LRLR", "RLLR", "LRRLLRRL", "LRR"])
def test_other_orders(order: str) -> None:
    """Geometry: any order with a repeat serves."""
    assert_clean(planted(short_programme(order=order), seed=9, clock_ppm=80.0))


def test_order_without_repeat_says_what_it_costs() -> None:
    """Closed form: 100 ppm over the 3 s between the passes, which also covers the truth."""
    one = planted(short_programme(order="LR"), seed=9, clock_ppm=80.0)
    reading = read(one)
    assert not_passed(reading) == {"clock": "fail"}
    assert not reading.usable
    assert reading.arrival is not None
    assert reading.arrival.std_s == pytest.approx(100e-6 * 3.0, rel=0.01)
    assert reading.arrival.difference_s == pytest.approx(one.difference_s, abs=3e-4)


SWEEPS = {
    "1 s": Sweep(start_hz=20, stop_hz=20_000, duration_s=1, level_dbfs=-20),
    "12 s": Sweep(start_hz=15, stop_hz=22_000, duration_s=12, level_dbfs=-20),
    "without bass": Sweep(start_hz=1000, stop_hz=20_000, duration_s=2, level_dbfs=-20),
}


@pytest.mark.parametrize("sweep", SWEEPS.values(), ids=SWEEPS.keys())
def test_other_sweeps(sweep: Sweep) -> None:
    """Geometry."""
    reading = assert_clean(planted(replace(short_programme(), sweep=sweep), seed=10))
    assert (reading.bass.left is None) == (sweep.start_hz > 300)


def test_sweep_too_low_to_time_by_fails_a_check() -> None:
    """Known input: a sweep to 2 kHz; the bass stands, the arrival is withheld and that is said."""
    sweep = Sweep(start_hz=20, stop_hz=2000, duration_s=2, level_dbfs=-20)
    reading = read(planted(replace(short_programme(), sweep=sweep), seed=10))
    assert reading.arrival is not None
    assert reading.arrival.withheld
    assert not_passed(reading) == {"noise": "fail"}
    check = next(check for check in reading.checks if check.name == "noise")
    assert reading.arrival.withheld in check.detail
    assert not reading.usable
    assert reading.bass.left is not None


@pytest.mark.parametrize("seed", [1, 10])
@pytest.mark.parametrize("band_hz", [(15, 60), (20, 200), (20, 500), (20, 1000)])
def test_sweep_too_low_to_time_by_has_its_own_sentence(
    band_hz: tuple[float, float], seed: int
) -> None:
    """Known input: clean recordings. No sample was lost, and neither pair nor wiring is judged."""
    sweep = Sweep(start_hz=band_hz[0], stop_hz=band_hz[1], duration_s=2, level_dbfs=-20)
    reading = read(planted(replace(short_programme(), sweep=sweep), seed=seed))
    assert not_passed(reading) == {"noise": "fail"}
    assert reading.arrival is not None
    assert "this sweep can't tell the arrival" in str(reading.arrival.withheld)
    assert f"{band_hz[0]} to {band_hz[1]} Hz" in str(reading.arrival.withheld)
    assert reading.level is None
    assert reading.polarity is None
    assert reading.bass.left is not None
    said = verdict(reading)
    assert said.actions[0].startswith("Make a sweep that ends at 8 kHz or higher and record again")
    assert len(said.actions) == 1
    assert len(said.lines()) <= 20


def test_sweep_that_spares_the_tweeter() -> None:
    """Geometry: a sweep to 8 kHz leaves less to time by, and its sigma says so."""
    sweep = Sweep(start_hz=20, stop_hz=8000, duration_s=2, level_dbfs=-20)
    one = planted(replace(short_programme(), sweep=sweep), seed=10)
    reading = read(one)
    assert not_passed(reading) == {}
    assert_arrival_right(reading, one)


def test_long_tail_and_no_tail() -> None:
    """Geometry: pauses of 3 s and of 0.2 s."""
    for tail_s in (3.0, 0.2):
        assert_clean(planted(replace(short_programme(), tail_s=tail_s), seed=11))


@pytest.mark.parametrize("absorption", [0.08, 0.8])
def test_reverberant_and_dry_rooms(absorption: float) -> None:
    """Geometry in rooms of about 1.2 s and 0.1 s (Eyring)."""
    assert_clean(planted(default_programme(), seed=12, absorption=absorption))


def test_noise_before_and_speech_after() -> None:
    """Geometry: half a minute of noise before, speech and a tone after the end."""
    one = planted(short_programme(), seed=13, start_s=30.0, extra_s=9.0)
    end_s = one.starts_s[-1] + 4.0
    for add, keywords in (
        (faults.babble, {"rng": np.random.default_rng(1)}),
        (faults.tone, {}),
    ):
        samples = add(
            one.samples,
            sample_rate_hz=RATE_HZ,
            at_s=end_s,
            length_s=6.0,
            level_dbfs=-12.0,
            **keywords,
        )
        assert_clean(one.spoilt(samples))


def test_speech_before_is_no_hum() -> None:
    """Known input: a gliding voice crosses multiples of 50 Hz without being hum."""
    one = planted(short_programme(), seed=13, start_s=12.0)
    samples = faults.babble(
        one.samples,
        sample_rate_hz=RATE_HZ,
        at_s=0.5,
        length_s=10.0,
        level_dbfs=-25.0,
        rng=np.random.default_rng(3),
    )
    assert_clean(one.spoilt(samples))


def test_recording_that_starts_and_ends_with_the_programme() -> None:
    """Geometry: not a sample of room noise around it."""
    assert_clean(planted(short_programme(), seed=14, start_s=0.0, extra_s=0.0))


def test_one_loudspeaker_inverted() -> None:
    """Known input: a swapped wire is told and leaves the arrival as it was."""
    one = planted(short_programme(), seed=15, gains=(1.0, -1.0))
    reading = assert_clean(one)
    assert reading.polarity is not None
    assert reading.polarity.matched is False


def test_one_loudspeaker_quieter() -> None:
    """Invariant: 6 dB less from the left is 6.02 dB less left minus right."""
    plain = assert_clean(planted(short_programme(), seed=16))
    softer = assert_clean(planted(short_programme(), seed=16, gains=(0.5, 1.0)))
    assert plain.level is not None
    assert softer.level is not None
    before, after = plain.level.direct, softer.level.direct
    assert before.left_minus_right_db is not None
    assert after.left_minus_right_db is not None
    assert after.left_minus_right_db - before.left_minus_right_db == pytest.approx(-6.02, abs=0.1)


def test_played_from_a_16_bit_file() -> None:
    """Second path: the stereo file's samples, rounded to 16 bits, through a resampling clock."""
    programme = short_programme()
    stereo = faults.quantised(programme_samples(programme), bits=16)
    samples = record_played(
        stereo,
        room(17),
        sample_rate_hz=RATE_HZ,
        clock_ppm=-45.0,
        snr_db=40.0,
        rng=np.random.default_rng(1),
    )
    assert_clean(planted(programme, seed=17).spoilt(samples))


@pytest.mark.parametrize("microphone", [0, 7, 11])
def test_microphone_among_twelve_channels(microphone: int) -> None:
    """Known input: the channel that holds the programme."""
    one = planted(short_programme(), seed=1)
    frames = faults.among_channels(
        one.samples,
        n_channels=12,
        microphone=microphone,
        sample_rate_hz=RATE_HZ,
        rng=np.random.default_rng(2),
        noise_dbfs=-30.0,
    )
    choice = choose_channel(list(frames.T), one.programme)
    assert (choice.index, choice.rivals) == (microphone, ())


OTHERS = {
    "longer": Sweep(start_hz=20, stop_hz=20_000, duration_s=2.1, level_dbfs=-20),
    "half as long": Sweep(start_hz=20, stop_hz=20_000, duration_s=1, level_dbfs=-20),
    "from 25 Hz": Sweep(start_hz=25, stop_hz=20_000, duration_s=2, level_dbfs=-20),
    "to 17 kHz": Sweep(start_hz=20, stop_hz=17_000, duration_s=2, level_dbfs=-20),
}


@pytest.mark.parametrize("sweep", OTHERS.values(), ids=OTHERS.keys())
def test_another_sweep_is_refused(sweep: Sweep) -> None:
    """Known input: sweeps of a rate 2 to 100 % off aren't read as ours."""
    other = planted(replace(short_programme(), sweep=sweep), seed=1)
    with pytest.raises(NoPassError) as caught:
        read(replace(other, programme=short_programme()))
    assert caught.value.other_sweep


def test_other_speed_is_refused() -> None:
    """Known input: 44.1 kHz played as 48."""
    one = planted(short_programme(), seed=1)
    position = np.arange(int(one.samples.size * 44_100 / 48_000)) * 48_000 / 44_100
    with pytest.raises(NoPassError) as caught:
        read(one.spoilt(np.interp(position, np.arange(one.samples.size), one.samples)))
    assert caught.value.other_sweep


@pytest.mark.parametrize("sound", ["noise", "click", "slam", "babble", "tone"])
def test_other_sounds_are_refused(sound: str) -> None:
    """Known input: none of them is a sweep, ours or another."""
    rng = np.random.default_rng(4)
    samples = 1e-3 * noise_samples(8 * RATE_HZ, sample_rate_hz=RATE_HZ, rng=rng)
    keywords = {"sample_rate_hz": RATE_HZ, "at_s": 2.0, "level_dbfs": -6.0}
    if sound != "noise":
        add: Callable[..., Float] = getattr(faults, sound)
        if sound in {"babble", "tone"}:
            keywords["length_s"] = 5.0
        extra = {} if sound in {"click", "tone"} else {"rng": rng}
        samples = add(samples, **keywords, **extra)
    with pytest.raises(NoPassError) as caught:
        read(planted(short_programme(), seed=1).spoilt(samples))
    assert not caught.value.other_sweep


PROPERTY = settings(max_examples=5, deadline=None)


@PROPERTY
@given(delay=st.integers(0, 20_000), gain=st.floats(1e-3, 30), sign=st.sampled_from([-1, 1]))
def test_delay_gain_and_polarity_change_nothing(delay: int, gain: float, sign: int) -> None:
    """Invariant: more noise before, a gain and an inversion leave the match as it was."""
    one = planted(short_programme(), seed=3, start_s=1.0)
    before = read(one)
    after = read(one.spoilt(sign * gain * one.samples[delay:]))
    assert before.arrival is not None
    assert after.arrival is not None
    assert before.arrival.difference_s is not None
    # The noise before the programme is another stretch, and the passes' places round anew.
    assert after.arrival.difference_s == pytest.approx(before.arrival.difference_s, abs=2e-8)
    assert before.level is not None
    assert after.level is not None
    assert after.level.direct.left_minus_right_db == pytest.approx(
        before.level.direct.left_minus_right_db, abs=0.02
    )
    assert before.bass.both is not None
    assert after.bass.both is not None
    shift_db = after.bass.both.curve.level_db - before.bass.both.curve.level_db
    heard = before.bass.both.curve.frequency_hz > 50
    assert np.median(shift_db[heard]) == pytest.approx(20 * np.log10(gain), abs=0.02)
    assert before.polarity is not None
    assert after.polarity is not None
    if before.polarity.left is not None:
        assert after.polarity.left == sign * before.polarity.left


@PROPERTY
@given(to_hz=st.sampled_from([44_100, 88_200, 96_000, 47_500]))
def test_resampling_changes_nothing(to_hz: int) -> None:
    """Invariant: the same sound at another sampling frequency gives the same match."""
    one = planted(short_programme(), seed=4)
    before = read(one)
    after = read(one.spoilt(resample(one.samples, RATE_HZ, to_hz), sample_rate_hz=to_hz))
    assert before.arrival is not None
    assert after.arrival is not None
    assert before.arrival.difference_s is not None
    assert after.arrival.difference_s == pytest.approx(before.arrival.difference_s, abs=1e-7)


@PROPERTY
@given(extra=st.integers(-40, 40))
def test_later_left_loudspeaker_arrives_later(extra: int) -> None:
    """Closed form: whole samples added before the left response add their time."""
    pair = room(5)
    moved = np.stack([np.roll(pair[0], extra), pair[1]])
    programme = short_programme()

    def difference_of(responses: Float) -> float:
        samples = record(programme, responses, snr_db=40, rng=np.random.default_rng(1))
        reading = read(planted(programme, seed=5).spoilt(samples))
        assert reading.arrival is not None
        assert reading.arrival.difference_s is not None
        return float(reading.arrival.difference_s)

    change_s = difference_of(moved) - difference_of(pair)
    assert change_s == pytest.approx(extra / RATE_HZ, abs=2e-7)
