"""Every check finds its own fault, locates it, and leaves the other numbers standing.

Truth throughout: the fault was planted at a known place in a recording of a simulated room
(`benchmarks.faults`, `benchmarks.planted`), whose arrival is known from its geometry.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.basics.air import air_at
from analysis.reading import Reading, read_recording
from analysis.recording.checks.check import NAMES
from analysis.recording.checks.passes import check_disturbance
from analysis.room.room import Loudspeaker, Point, Positions, rectangular_room
from benchmarks import faults
from benchmarks.planted import RATE_HZ, Planted, default_programme, planted, room, short_programme
from benchmarks.recorder import polynomial, record

Float = NDArray[np.float64]

AIR = air_at(20.0)
AT = {"sample_rate_hz": RATE_HZ}


@pytest.fixture(scope="module")
def short() -> Planted:
    """Return a clean recording of four passes of 2 s."""
    return planted(short_programme(), seed=1)


@pytest.fixture(scope="module")
def long() -> Planted:
    """Return a clean recording of the default programme."""
    return planted(default_programme(), seed=2)


def read(one: Planted, **keywords: object) -> Reading:
    """Read a planted recording."""
    return read_recording(
        one.samples,
        recorded_hz=one.sample_rate_hz,
        programme=one.programme,
        air=AIR,
        **keywords,  # type: ignore[arg-type]
    )


def verdicts(reading: Reading) -> dict[str, str]:
    """Return the checks that didn't pass."""
    assert tuple(check.name for check in reading.checks) == NAMES
    return {check.name: check.verdict for check in reading.checks if check.verdict != "pass"}


def detail(reading: Reading, name: str) -> str:
    """Return what a check says."""
    return next(check.detail for check in reading.checks if check.name == name)


def wrong_mm(reading: Reading, one: Planted) -> float:
    """Return the arrival's error."""
    assert reading.arrival is not None
    assert reading.arrival.difference_s is not None
    return abs(reading.arrival.difference_s - one.difference_s) * 343e3


def in_sweep(one: Planted, number: int, after_s: float) -> float:
    """Return a recording time that lies so long after a pass's sweep started."""
    return one.starts_s[number - 1] + after_s


def peak_dbfs(one: Planted) -> float:
    """Return the recording's peak level."""
    return 20 * float(np.log10(np.abs(one.samples).max()))


# Level


@pytest.mark.parametrize("share", [0.8, 0.5])
def test_clipping(short: Planted, share: float) -> None:
    """Known input: cut off at a share of the peak; only distortion may be said with it."""
    limit = share * float(np.abs(short.samples).max())
    reading = read(short.spoilt(faults.clipped(short.samples, limit=limit)))
    found = verdicts(reading)
    assert found.pop("clipping") == "fail"
    assert set(found) <= {"distortion"}
    assert not reading.usable
    assert reading.level is None
    assert wrong_mm(reading, short) < 1.0


def test_clipping_at_full_scale_of_16_bit(short: Planted) -> None:
    """Known input: 2 dB over full scale."""
    samples = short.samples * 10 ** (2 / 20) / np.abs(short.samples).max()
    reading = read(short.spoilt(faults.quantised(samples, bits=16)))
    assert verdicts(reading) == {"clipping": "fail"}
    assert "0.0 dBFS" in detail(reading, "clipping")


def test_too_quiet(short: Planted) -> None:
    """Known input: a sweep of a few steps of 16 bits."""
    samples = faults.quantised(short.samples * 10 ** (-75 / 20), bits=16)
    reading = read(short.spoilt(samples))
    assert verdicts(reading)["too_quiet"] == "fail"
    assert not reading.usable


def test_noise() -> None:
    """Known input: at 0 dB the numbers stand, with their uncertainty."""
    one = planted(default_programme(), seed=1, snr_db=0.0)
    reading = read(one)
    assert verdicts(reading) == {"noise": "warn"}
    assert reading.usable
    assert wrong_mm(reading, one) < 1.0


def test_rumble_hides_an_octave(long: Planted) -> None:
    """Known input: noise from 45 to 90 Hz, 12 dB over the sweep; the arrival isn't harmed."""
    n_samples = long.samples.size
    spectrum = np.fft.rfft(np.random.default_rng(1).standard_normal(n_samples))
    frequency_hz = np.fft.rfftfreq(n_samples, 1 / RATE_HZ)
    spectrum[(frequency_hz < 45) | (frequency_hz > 90)] = 0
    rumble = np.fft.irfft(spectrum, n_samples)
    rumble *= 4 * np.std(long.samples) / np.std(rumble)
    reading = read(long.spoilt(long.samples + rumble))
    assert verdicts(reading)["noise"] == "fail"
    assert "63 Hz" in detail(reading, "noise")
    assert not reading.usable
    assert wrong_mm(reading, long) < 0.3


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_hum(long: Planted, mains_hz: float) -> None:
    """Known input: its frequency is named, and no bass feature is listed at it."""
    level_dbfs = peak_dbfs(long) - 35
    samples = faults.hum(long.samples, mains_hz=mains_hz, level_dbfs=level_dbfs, **AT)
    reading = read(long.spoilt(samples))
    assert verdicts(reading) == {"hum": "warn"}
    assert f"{mains_hz:.1f}" in detail(reading, "hum")
    assert reading.usable
    assert wrong_mm(reading, long) < 0.5
    for _, side in reading.bass.sides:
        for one in side.features:
            away_hz = np.abs(one.feature.frequency_hz - mains_hz * np.arange(1, 4))
            assert away_hz.min() > 1.0


# Lost blocks


@pytest.mark.parametrize("kind", ["dropped", "repeated"])
def test_half_a_second_inside_a_middle_pass_is_withheld(long: Planted, kind: str) -> None:
    """Known input: too much to mend there, so nothing is claimed about the arrival."""
    at_s = in_sweep(long, 3, 3.1)
    fault: Callable[..., Float] = getattr(faults, kind)
    samples = fault(long.samples, at_s=at_s, length_s=24_000 / RATE_HZ, **AT)
    reading = read(long.spoilt(samples))
    assert not reading.usable
    assert reading.arrival is None


@pytest.mark.parametrize("kind", ["dropped", "repeated", "zeroed"])
@pytest.mark.parametrize(
    ("n_samples", "number", "after_s"),
    [(96, 2, 3.1), (480, 4, 4.6), (4800, 1, 5.0), (24_000, 4, 4.6)],
)
def test_block_inside_a_pass(
    long: Planted, kind: str, n_samples: int, number: int, after_s: float
) -> None:
    """Known input: found where it is, mended or left out, the arrival as without it."""
    at_s = in_sweep(long, number, after_s)
    fault: Callable[..., Float] = getattr(faults, kind)
    samples = fault(long.samples, at_s=at_s, length_s=n_samples / RATE_HZ, **AT)
    reading = read(long.spoilt(samples))
    found = verdicts(reading)
    assert found.pop("dropout") == "warn"
    assert set(found) <= {"spoilt_pass"}
    assert "fail" not in found.values()
    (block,) = reading.aligned.blocks
    name = {"dropped": "missing", "repeated": "repeated", "zeroed": "zeroed"}[kind]
    assert block.kind == name
    assert block.n_samples == pytest.approx(n_samples, abs=1)
    assert block.at == pytest.approx(at_s * RATE_HZ, abs=n_samples + 5)
    assert name in detail(reading, "dropout")
    assert reading.usable
    assert wrong_mm(reading, long) < 0.3
    assert any(name in text for one in reading.passes for text in one.left_out)


@pytest.mark.parametrize(
    ("kind", "n_samples", "number", "after_s"),
    [("repeated", 292, 1, 5.83), ("dropped", 622, 4, 5.895), ("repeated", 73, 2, 2.589)],
)
def test_block_at_the_end_or_the_beginning_of_a_pass(
    long: Planted, kind: str, n_samples: int, number: int, after_s: float
) -> None:
    """Known input: at 18 and 19 kHz no step shows, at 350 Hz the count is uncertain."""
    fault: Callable[..., Float] = getattr(faults, kind)
    at_s = in_sweep(long, number, after_s)
    samples = fault(long.samples, at_s=at_s, length_s=n_samples / RATE_HZ, **AT)
    reading = read(long.spoilt(samples))
    assert reading.usable
    assert wrong_mm(reading, long) < 0.3


@pytest.mark.parametrize(
    "blocks",
    [
        (("repeated", 104, 4, 5.3), ("repeated", 876, 2, 6.29)),
        (("dropped", 462, 2, 0.71), ("repeated", 532, 3, 6.37)),
    ],
)
def test_two_blocks_that_could_be_others_withhold_the_arrival(
    long: Planted, blocks: tuple[tuple[str, int, int, float], ...]
) -> None:
    """Known input: one blamed in the wrong place would be decimetres or metres of arrival."""
    samples = long.samples
    for kind, n_samples, number, after_s in blocks:
        fault: Callable[..., Float] = getattr(faults, kind)
        at_s = in_sweep(long, number, after_s)
        samples = fault(samples, at_s=at_s, length_s=n_samples / RATE_HZ, **AT)
    reading = read(long.spoilt(samples))
    assert verdicts(reading)["dropout"] == "fail"
    assert reading.arrival is None
    assert not reading.usable


@pytest.mark.parametrize("kind", ["dropped", "repeated"])
@pytest.mark.parametrize(("number", "n_samples"), [(1, 960), (2, 9600), (3, 960)])
def test_block_in_a_pause(long: Planted, kind: str, number: int, n_samples: int) -> None:
    """Known input: 20 ms and more can lie in one pause only, and that is found."""
    fault: Callable[..., Float] = getattr(faults, kind)
    at_s = in_sweep(long, number, 7.2)
    samples = fault(long.samples, at_s=at_s, length_s=n_samples / RATE_HZ, **AT)
    reading = read(long.spoilt(samples))
    assert verdicts(reading) == {"dropout": "warn"}
    assert str(n_samples) in detail(reading, "dropout")
    assert reading.usable
    assert wrong_mm(reading, long) < 0.3


@pytest.mark.parametrize("number", [1, 2])
def test_block_that_cannot_be_placed_withholds_the_arrival(long: Planted, number: int) -> None:
    """Known input: 1.3 ms could lie in several pauses; level and bass stand all the same."""
    at_s = in_sweep(long, number, 7.2)
    samples = faults.dropped(long.samples, at_s=at_s, length_s=64 / RATE_HZ, **AT)
    reading = read(long.spoilt(samples))
    found = verdicts(reading)
    assert found["dropout"] == "fail"
    assert set(found) == {"dropout", "clock"}
    assert reading.arrival is None
    assert not reading.usable
    clean = read(long)
    assert clean.bass.left is not None
    assert reading.bass.left is not None
    change_db = reading.bass.left.curve.level_db - clean.bass.left.curve.level_db
    heard = clean.bass.left.curve.frequency_hz > 50
    assert float(np.abs(change_db[heard]).max()) < 0.5


def test_zeroed_block_in_a_pause(short: Planted) -> None:
    """Known input: 10 ms of zeros in room noise."""
    at_s = in_sweep(short, 1, 2.6)
    samples = faults.zeroed(short.samples, at_s=at_s, length_s=0.01, **AT)
    reading = read(short.spoilt(samples))
    assert verdicts(reading) == {"dropout": "warn"}
    assert f"{at_s:.3f} s" in detail(reading, "dropout")


def test_block_replaced_by_the_one_before(long: Planted) -> None:
    """Known input: the time line holds, the sweep is missing there; the other pass serves."""
    at_s = in_sweep(long, 4, 4.6)
    samples = faults.replaced(long.samples, at_s=at_s, length_s=0.1, **AT)
    reading = read(long.spoilt(samples))
    assert verdicts(reading) == {"spoilt_pass": "warn"}
    assert wrong_mm(reading, long) < 0.3


# Channels


@pytest.mark.parametrize(("gains", "name"), [((0.0, 1.0), "left"), ((1.0, 0.0), "right")])
def test_silent_channel(gains: tuple[float, float], name: str) -> None:
    """Known input: one loudspeaker off; the other's bass and the clock are still given."""
    reading = read(planted(short_programme(), seed=1, gains=gains))
    assert verdicts(reading) == {"silent_channel": "fail"}
    assert f"the {name} loudspeaker" in detail(reading, "silent_channel")
    assert not reading.usable
    assert reading.arrival is None
    assert getattr(reading.bass, name) is None
    assert getattr(reading.bass, "left" if name == "right" else "right") is not None
    assert reading.aligned.clock.drift_ppm == pytest.approx(30.0, abs=0.1)
    assert {one.side for one in reading.passes} == {"left" if name == "right" else "right"}


def test_crosstalk_is_no_loudspeaker() -> None:
    """Known input: the left loudspeaker 36 dB down."""
    reading = read(planted(short_programme(), seed=1, gains=(10 ** (-36 / 20), 1.0)))
    assert verdicts(reading)["silent_channel"] == "fail"
    assert reading.arrival is None


# Foreign sound


@pytest.mark.parametrize("under_db", [0.0, -15.0])
def test_slam_and_click_at_once(long: Planted, under_db: float) -> None:
    """Known input: a slam in a left pass, a click in a right one; two passes a side only differ."""
    level_dbfs = peak_dbfs(long) + under_db
    samples = faults.slam(
        long.samples,
        at_s=in_sweep(long, 1, 3.5),
        level_dbfs=level_dbfs,
        rng=np.random.default_rng(1),
        **AT,
    )
    at_s = in_sweep(long, 2, 4.5)
    samples = faults.click(samples, at_s=at_s, level_dbfs=level_dbfs + 10, **AT)
    reading = read(long.spoilt(samples))
    assert verdicts(reading) == {"spoilt_pass": "warn"}
    spoilt = {one.number for one in reading.passes if one.left_out}
    assert spoilt == {1, 2}
    assert reading.usable
    assert wrong_mm(reading, long) < 0.3
    clean = read(long)
    for name in ("left", "right"):
        before, after = getattr(clean.bass, name), getattr(reading.bass, name)
        heard = before.curve.frequency_hz > 40
        change_db = (after.curve.level_db - before.curve.level_db)[heard]
        assert float(np.abs(change_db).max()) < 0.5


def test_stretches_that_touch_in_tenths_are_said_as_one(long: Planted) -> None:
    """Known input: two stretches 20 ms apart and one a second later."""
    reading = read(long)
    disturbance = reading.aligned.disturbance
    stretches_s = ((2.51, 2.69), (2.71, 2.81), (3.8, 3.9))
    foreign_sound_s = (stretches_s, *disturbance.foreign_sound_s[1:])
    aligned = replace(
        reading.aligned, disturbance=replace(disturbance, foreign_sound_s=foreign_sound_s)
    )
    sides = (reading.left, reading.right)
    check = check_disturbance(aligned, sides, long.programme, long.samples.size)
    assert "at 2.5-2.8 s, 3.8-3.9 s of its sweep" in check.detail


@pytest.mark.parametrize("sound", ["cough", "babble", "tone"])
def test_other_foreign_sounds(long: Planted, sound: str) -> None:
    """Known input: over a part of the third pass."""
    add: Callable[..., Float] = getattr(faults, sound)
    extra = {} if sound == "tone" else {"rng": np.random.default_rng(2)}
    if sound != "cough":
        extra["length_s"] = 2.5
    samples = add(
        long.samples, at_s=in_sweep(long, 3, 2.8), level_dbfs=peak_dbfs(long) - 6, **AT, **extra
    )
    reading = read(long.spoilt(samples))
    assert verdicts(reading) == {"spoilt_pass": "warn"}
    assert {one.number for one in reading.passes if one.left_out} == {3}
    assert wrong_mm(reading, long) < 0.3


def test_slam_in_both_passes_of_a_side_leaves_a_gap(long: Planted) -> None:
    """Closed form: 3 s into the sweep it passes 15 Hz e^(3/L), the band that nobody has."""
    samples = long.samples
    for number, level_db in ((1, 0.0), (4, -3.0)):
        samples = faults.slam(
            samples,
            at_s=in_sweep(long, number, 3.0),
            level_dbfs=peak_dbfs(long) + level_db,
            rng=np.random.default_rng(number),
            **AT,
        )
    reading = read(long.spoilt(samples))
    assert verdicts(reading).get("spoilt_pass") == "fail"
    assert not reading.usable
    assert "of the left" in detail(reading, "spoilt_pass")
    assert reading.left is not None
    assert reading.right is not None
    assert reading.right.response.gaps_hz == ()
    at_hz = float(long.programme.sweep.frequency_at(3.0))
    assert any(low_hz < at_hz < high_hz for low_hz, high_hz in reading.left.response.gaps_hz)
    # The arrival's band lies above it.
    assert wrong_mm(reading, long) < 0.5


# Clock, sweep, cut


def test_clock_far_out(short: Planted) -> None:
    """Known input: 400 ppm are taken out but said; 2000 ppm are no clock."""
    reading = read(planted(short_programme(), seed=1, clock_ppm=400.0))
    assert verdicts(reading) == {"clock": "warn"}
    assert wrong_mm(reading, short) < 0.3
    impossible = read(planted(short_programme(), seed=1, clock_ppm=1600.0))
    assert verdicts(impossible)["clock"] == "fail"
    assert impossible.arrival is None


def test_another_order_is_told() -> None:
    """Known input: L R L R read by the sheet of L R R L."""
    one = planted(short_programme(order="LRLR"), seed=3)
    reading = read(replace(one, programme=short_programme()))
    assert verdicts(reading)["wrong_sweep"] == "fail"
    assert reading.arrival is None
    assert not reading.usable


def test_another_spacing_is_told() -> None:
    """Known input: the right sweep, with pauses a second longer than the sheet's."""
    one = planted(replace(short_programme(), tail_s=2.0), seed=3)
    reading = read(replace(one, programme=short_programme()))
    assert verdicts(reading)["wrong_sweep"] == "fail"
    assert not reading.usable


def test_another_sweep_afterwards(short: Planted) -> None:
    """Known input: a sweep half as long played after the programme."""
    programme = short_programme()
    other = replace(programme, sweep=replace(programme.sweep, duration_s=1.0))
    after = planted(other, seed=1).samples
    reading = read(short.spoilt(np.concatenate((short.samples, after))))
    assert verdicts(reading) == {"wrong_sweep": "warn"}
    assert reading.usable
    assert wrong_mm(reading, short) < 0.3


@pytest.mark.parametrize(
    ("from_s", "to_s", "cut", "missing"),
    [
        (1.0, None, {1}, set()),
        (2.7, None, set(), {1}),
        (0, 1.2, {4}, set()),
        (0, -0.02, set(), {4}),
    ],
    ids=["start in first", "first gone", "end in last", "last gone"],
)
def test_cut_short(
    short: Planted, from_s: float, to_s: float | None, cut: set[int], missing: set[int]
) -> None:
    """Known input: seconds from the first pass's start, and from the last one's."""
    begin = round((short.starts_s[0] + from_s) * RATE_HZ) if from_s else 0
    end = None if to_s is None else round((short.starts_s[3] + to_s) * RATE_HZ)
    reading = read(short.spoilt(short.samples[begin:end]))
    assert verdicts(reading) == {"cut_short": "warn"}
    assert {one.number for one in reading.passes} == {1, 2, 3, 4} - missing
    parts = {"its beginning wasn't recorded", "its end wasn't recorded"}
    assert {one.number for one in reading.passes if parts & set(one.left_out)} == cut
    assert reading.usable
    assert wrong_mm(reading, short) < 0.6


def test_cut_at_both_ends_says_what_is_missing(short: Planted) -> None:
    """Known input: the first pass's upper part and the last one's lower; a gap between."""
    begin = round((short.starts_s[0] + 1.2) * RATE_HZ)
    end = round((short.starts_s[3] + 0.8) * RATE_HZ)
    reading = read(short.spoilt(short.samples[begin:end]))
    assert verdicts(reading) == {"cut_short": "fail"}
    assert reading.left is not None
    assert reading.left.response.gaps_hz
    assert not reading.usable


def test_a_side_whose_only_pass_is_cut_has_no_bass(short: Planted) -> None:
    """Known input: the recording ends inside the second pass, the only one of the right side."""
    end = round((short.starts_s[1] + 1.2) * RATE_HZ)
    reading = read(short.spoilt(short.samples[:end]))
    assert reading.bass.right is None
    assert reading.bass.left is not None
    assert not reading.usable


@pytest.mark.parametrize(("first", "last"), [(1, 1), (1, 2), (3, 4), (4, 4)])
def test_too_few_passes_to_tell_the_sides(short: Planted, first: int, last: int) -> None:
    """Known input: L R or R L alone could be either; the bass is still given."""
    begin = round((short.starts_s[first - 1] - 0.2) * RATE_HZ)
    end = round((short.starts_s[last - 1] + 2.9) * RATE_HZ)
    reading = read(short.spoilt(short.samples[begin:end]))
    assert verdicts(reading)["cut_short"] == "fail"
    assert reading.arrival is None
    assert not reading.usable
    assert reading.passes
    assert reading.bass.sides


def test_two_inner_passes_are_one_side(short: Planted) -> None:
    """Known input: R R is told from L R by the longer pause; the left wasn't heard."""
    begin = round((short.starts_s[1] - 0.2) * RATE_HZ)
    end = round((short.starts_s[2] + 2.9) * RATE_HZ)
    reading = read(short.spoilt(short.samples[begin:end]))
    assert verdicts(reading) == {"cut_short": "warn", "silent_channel": "fail"}
    assert {one.side for one in reading.passes} == {"right"}
    assert reading.aligned.clock.measured


# Rate, distortion, gain, geometry


def test_low_rate_is_said() -> None:
    """Known input: 22 050 Hz hold half of the sweep's band."""
    one = planted(short_programme(), seed=1)
    samples = faults.resampled(one.samples, sample_rate_hz=RATE_HZ, to_hz=22_050)
    reading = read(one.spoilt(samples, sample_rate_hz=22_050))
    assert verdicts(reading).get("resampled") == "warn"
    assert "10143 Hz" in detail(reading, "resampled")


def test_distortion() -> None:
    """Closed form: y = x + 2 x**2 at a peak of 0.1 gives 10 % of second harmonic."""
    programme = short_programme()
    samples = record(
        programme,
        room(1),
        snr_db=40,
        rng=np.random.default_rng(1),
        distortion=polynomial(1.0, 2.0),
    )
    reading = read(planted(programme, seed=1).spoilt(samples))
    assert verdicts(reading) == {"distortion": "warn"}
    assert "harmonic 2" in detail(reading, "distortion")


def test_overloaded_loudspeaker_is_not_foreign_sound() -> None:
    """Known input: hard saturation, whose products are the same in every pass."""
    programme = short_programme()
    samples = record(
        programme,
        room(1),
        snr_db=50,
        rng=np.random.default_rng(1),
        distortion=lambda x: np.tanh(30 * x) / 30,
    )
    reading = read(planted(programme, seed=1).spoilt(samples))
    assert set(verdicts(reading)) == {"distortion"}


@pytest.mark.parametrize(("step_db", "verdict"), [(0.6, "warn"), (3.0, "fail")])
def test_gain_that_moved(short: Planted, step_db: float, verdict: str) -> None:
    """Known input: a knob turned in the middle pause."""
    at_s = in_sweep(short, 2, 2.9)
    samples = faults.gain_step(short.samples, at_s=at_s, step_db=step_db, **AT)
    reading = read(short.spoilt(samples))
    assert verdicts(reading) == {"automatic_gain": verdict}
    assert f"{step_db:.1f} dB" in detail(reading, "automatic_gain")
    assert (reading.level is None) == (verdict == "fail")
    assert wrong_mm(reading, short) < 0.5


def test_automatic_gain(long: Planted) -> None:
    """Known input: fast down, slow up; every pass alike, so only the noise betrays it."""
    reading = read(long.spoilt(faults.automatic_gain(long.samples, **AT)))
    assert verdicts(reading)["automatic_gain"] == "fail"
    assert not reading.usable
    assert reading.level is None


def test_noise_gate(long: Planted) -> None:
    """Known input: 40 dB less where the level falls below 15 dB over the noise."""
    noise_dbfs = 20 * float(np.log10(np.std(long.samples[: RATE_HZ // 2])))
    samples = faults.noise_gate(long.samples, threshold_dbfs=noise_dbfs + 15, **AT)
    reading = read(long.spoilt(samples))
    assert verdicts(reading) == {"automatic_gain": "warn"}
    assert "gate" in detail(reading, "automatic_gain")


def positions(left_minus_right_m: float) -> Positions:
    """Return places whose taped paths differ so."""
    return Positions(
        left=Loudspeaker(tweeter=Point(x_m=1.0, y_m=1.0 - left_minus_right_m, z_m=1.0)),
        right=Loudspeaker(tweeter=Point(x_m=1.0, y_m=1.0, z_m=1.0)),
        seat=Point(x_m=1.0, y_m=3.0, z_m=1.0),
    )


@pytest.mark.parametrize(
    ("factor", "extra_m", "verdict"),
    [(1.0, 0.0, "pass"), (-1.0, 0.0, "warn"), (1.0, 0.08, "warn")],
    ids=["as taped", "exchanged", "80 mm off"],
)
def test_geometry(factor: float, extra_m: float, verdict: str) -> None:
    """Closed form: the taped difference, its opposite, and 80 mm more."""
    one = next(
        candidate
        for candidate in (planted(short_programme(), seed=seed) for seed in range(20, 40))
        if abs(candidate.difference_s) * 343 > 0.035
    )
    taped_m = factor * one.difference_s * AIR.speed_of_sound_m_s + extra_m
    house = rectangular_room(length_m=5.0, width_m=4.0, height_m=2.5)
    reading = read(one, room=(house, positions(taped_m)))
    assert verdicts(reading) == ({} if verdict == "pass" else {"geometry": "warn"})
    assert reading.usable
