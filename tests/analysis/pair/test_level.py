"""The level match against planted gains, closed forms and image-source rooms."""

from __future__ import annotations

import math

import numpy as np
import pytest
import rir_generator
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import butter, freqz, lfilter

from analysis.pair.level import LevelMatch, match_levels
from analysis.signals.impulse_response import ImpulseResponse

RATE_HZ = 48_000
ARRIVAL = 480
GATE_S = 1.4e-3


def room_like(seed: int = 1, *, decay_s: float = 0.4) -> np.ndarray:
    """Return a spike at 10 ms, a floor bounce 2 ms later, and a decaying tail."""
    time_s = np.arange(RATE_HZ // 2) / RATE_HZ - 0.0125
    tail = np.random.default_rng(seed).standard_normal(time_s.size)
    response = 0.03 * tail * 10 ** (-3 * np.clip(time_s, 0, None) / decay_s) * (time_s > 0)
    response[ARRIVAL] = 1
    response[ARRIVAL + 96] = 0.6
    return response


def as_response(samples: np.ndarray, *, noise_rms: float = 1e-9, seed: int = 2, **changes):
    """Return samples with white noise of a given RMS as a record."""
    rng = np.random.default_rng(seed)
    noise = noise_rms * rng.standard_normal(samples.size + RATE_HZ // 2)
    wanted = {
        "samples": samples + noise[: samples.size],
        "sample_rate_hz": RATE_HZ,
        "start_s": 0.0,
        "noise": noise[samples.size :],
        "band_hz": (15.0, 22_000.0),
    }
    return ImpulseResponse(**(wanted | changes))


def matched(left: ImpulseResponse, right: ImpulseResponse, gate_s: float = GATE_S) -> LevelMatch:
    """Return the match with both arrivals at 10 ms."""
    return match_levels(left, right, left_s=0.01, right_s=0.01, gate_s=gate_s)


@given(gain_db=st.floats(-20, 20))
@settings(deadline=None, max_examples=10)
def test_planted_gain_is_found_exactly(gain_db: float) -> None:
    """Known input: the same response, louder by a gain."""
    samples = room_like()
    found = matched(as_response(samples * 10 ** (gain_db / 20)), as_response(samples))
    for one in (found.direct, found.seat):
        assert one.left_minus_right_db == pytest.approx(gain_db, abs=1e-5)
        assert one.reason is None
        for band in one.bands:
            assert band.left_minus_right_db == pytest.approx(gain_db, abs=1e-4)


def test_exchange_of_sides_turns_the_sign() -> None:
    """Invariant: left minus right is minus right minus left."""
    left, right = as_response(room_like(3)), as_response(1.2 * room_like(4))
    one, other = matched(left, right), matched(right, left)
    assert one.direct.left_minus_right_db == pytest.approx(-other.direct.left_minus_right_db)
    assert one.seat.left_minus_right_db == pytest.approx(-other.seat.left_minus_right_db)
    assert one.seat.std_db == pytest.approx(other.seat.std_db)


def test_common_gain_polarity_and_delay_change_nothing() -> None:
    """Invariant: a knob, an inverting input and latency are common to both sides."""
    left, right = room_like(3), 1.2 * room_like(4)
    plain = matched(as_response(left), as_response(right))
    moved = match_levels(
        as_response(-0.5 * np.roll(left, 77)),
        as_response(-0.5 * np.roll(right, 77)),
        left_s=0.01 + 77 / RATE_HZ,
        right_s=0.01 + 77 / RATE_HZ,
        gate_s=GATE_S,
    )
    assert moved.direct.left_minus_right_db == pytest.approx(
        plain.direct.left_minus_right_db, abs=1e-5
    )
    assert moved.seat.left_minus_right_db == pytest.approx(plain.seat.left_minus_right_db, abs=1e-3)


def test_bands_follow_a_known_filter() -> None:
    """Closed form: the left loudspeaker is the right one through a digital low-pass."""
    numerator, denominator = butter(1, 3000, fs=RATE_HZ)
    samples = np.zeros(RATE_HZ // 2)
    samples[ARRIVAL] = 1
    left = as_response(lfilter(numerator, denominator, samples), noise_rms=0)
    found = matched(left, as_response(samples, noise_rms=0))
    frequency_hz = np.geomspace(200, 8000, 4001)
    gain = np.abs(freqz(numerator, denominator, frequency_hz, fs=RATE_HZ)[1])
    for band in found.seat.bands:
        inside_hz = band.centre_hz * 10 ** np.linspace(-0.05, 0.05, 101)
        inside = np.abs(freqz(numerator, denominator, inside_hz, fs=RATE_HZ)[1])
        expected_db = 10 * math.log10(np.mean(inside**2))
        assert band.left_minus_right_db == pytest.approx(expected_db, abs=0.02)
    mean_db = 10 * math.log10(np.mean(gain**2))
    assert found.seat.left_minus_right_db == pytest.approx(mean_db, abs=0.02)


def test_bands_are_the_standard_ones() -> None:
    """Published table: IEC 61260-1 base-ten centres (second-hand), 200 Hz to 8 kHz."""
    found = matched(as_response(room_like()), as_response(room_like()))
    centres = [band.centre_hz for band in found.seat.bands]
    np.testing.assert_allclose(centres, 1000 * 10 ** (np.arange(-6, 10) / 10), rtol=1e-9)
    assert found.seat.band_hz == (200.0, 8000.0)
    assert found.direct.band_hz == (pytest.approx(1 / GATE_S), 8000.0)


def test_gate_leaves_out_a_reflection_that_comes_after_it() -> None:
    """Known input: only one side has a floor bounce, 2 ms late."""
    bounced, plain = np.zeros(RATE_HZ // 2), np.zeros(RATE_HZ // 2)
    bounced[[ARRIVAL, ARRIVAL + 96]] = 1, 0.6
    plain[ARRIVAL] = 1
    found = matched(as_response(bounced), as_response(plain))
    assert found.direct.left_minus_right_db == pytest.approx(0, abs=1e-5)
    comb = np.abs(1 + 0.6 * np.exp(-2j * np.pi * np.geomspace(200, 8000, 4001) * 2e-3)) ** 2
    assert found.seat.left_minus_right_db == pytest.approx(10 * math.log10(np.mean(comb)), abs=0.02)


@pytest.mark.parametrize("noise_rms", [3e-4, 3e-3, 1e-2])
def test_noises_sigma_covers_the_error_and_noise_adds_no_bias(noise_rms: float) -> None:
    """Known input: 1.5 dB planted, one side noisier; 120 draws."""
    errors = {"direct": [], "seat": []}
    for draw in range(120):
        found = matched(
            as_response(10 ** (1.5 / 20) * room_like(), noise_rms=noise_rms, seed=1000 + 2 * draw),
            as_response(room_like(), noise_rms=0.5 * noise_rms, seed=1001 + 2 * draw),
        )
        for name, list_ in errors.items():
            one = getattr(found, name)
            list_.append((one.left_minus_right_db - 1.5) / one.noise_std_db)
            assert one.std_db >= one.noise_std_db
    for list_ in errors.values():
        assert abs(np.mean(list_)) < 4 / math.sqrt(120)
        assert 0.75 < np.sqrt(np.mean(np.square(list_))) < 1.25


def test_difference_is_withheld_where_noise_hides_a_side() -> None:
    """Known input: a silent right loudspeaker."""
    silent = as_response(np.zeros(RATE_HZ // 2), noise_rms=0.05)
    found = matched(as_response(room_like(), noise_rms=0.05), silent)
    for one in (found.direct, found.seat):
        assert one.left_minus_right_db is None
        assert one.std_db is None
        assert one.reason is not None
        assert "noise" in one.reason
    assert found.seat_point_std_db is None


def test_gap_is_left_out_of_both_sides() -> None:
    """Known input: one side is ruined from 500 to 1500 Hz, and says so."""
    numerator, denominator = butter(2, [600, 1300], "bandstop", fs=RATE_HZ)
    samples = room_like()
    ruined = as_response(lfilter(numerator, denominator, samples), gaps_hz=((150.0, 5000.0),))
    found = matched(ruined, as_response(samples))
    assert found.seat.reason == "more than half of the band was lost to spoilt passes"
    ruined = as_response(
        lfilter(numerator, denominator, samples), gaps_hz=((450.0, 900.0), (800.0, 1800.0))
    )
    found = matched(ruined, as_response(samples))
    assert found.seat.left_minus_right_db == pytest.approx(0, abs=0.25)
    assert not any(500 < band.centre_hz < 1700 for band in found.seat.bands)


def test_band_that_ends_early_is_respected() -> None:
    """Known input: a recording at a low rate holds nothing above 3 kHz."""
    left, right = (as_response(room_like(), band_hz=(15.0, 3000.0)) for _ in range(2))
    found = matched(left, right)
    assert found.direct.band_hz[1] == 3000
    assert max(band.centre_hz for band in found.seat.bands) < 3000
    narrow = as_response(room_like(), band_hz=(15.0, 1000.0))
    assert matched(narrow, narrow).direct.left_minus_right_db is None


def test_direct_level_in_a_room_is_the_inverse_distance() -> None:
    """Second method: image sources (rir-generator, high-pass off); the direct sound as 1/r."""
    size_m, seat = [5.0, 6.0, 2.6], np.array([2.4, 4.0, 1.4])
    sources = (np.array([1.2, 1.5, 1.4]), np.array([3.5, 1.6, 1.4]))
    sides, arrivals_s, distances = [], [], []
    for source in sources:
        distance_m = float(np.linalg.norm(source - seat))
        response = rir_generator.generate(
            c=343.0, fs=RATE_HZ, r=seat, s=source, L=size_m, reverberation_time=0.35,
            nsample=16_000, order=12, hp_filter=False,
        )  # fmt: skip
        sides.append(as_response(response[:, 0], noise_rms=1e-9))
        arrivals_s.append(distance_m / 343.0)
        distances.append(distance_m)
    found = match_levels(*sides, left_s=arrivals_s[0], right_s=arrivals_s[1], gate_s=GATE_S)
    expected_db = 20 * math.log10(distances[1] / distances[0])
    assert found.direct.left_minus_right_db == pytest.approx(expected_db, abs=0.03)


def test_spread_from_point_to_point_follows_the_diffuse_field() -> None:
    """Closed form: relative variance (6.9/T) int w^2 df for a decay time T, in 100 draws."""
    decay_s, found = 0.4, []
    for seed in range(100):
        tails = []
        for side in range(2):
            tail = np.random.default_rng(2 * seed + side).standard_normal(RATE_HZ // 2)
            time_s = np.arange(tail.size) / RATE_HZ - 0.01
            tails.append(tail * 10 ** (-3 * time_s / decay_s) * (time_s >= 0))
        found.append(matched(as_response(tails[0]), as_response(tails[1])))
    weight = (1 / 200 - 1 / 8000) / math.log(40) ** 2
    expected_db = 4.343 * math.sqrt(2 * 6.9 / decay_s * weight)
    stated_db = np.mean([one.seat_point_std_db for one in found])
    actual_db = np.std([one.seat.left_minus_right_db for one in found])
    assert stated_db == pytest.approx(expected_db, rel=0.15)
    assert actual_db == pytest.approx(expected_db, rel=0.25)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"gate_s": 0.0}, "gate_s 0.0"),
        ({"left_s": 0.9}, "left_s 0.9"),
        ({"right_s": -1.0}, "right_s"),
    ],
)
def test_nonsense_is_refused(changes: dict[str, float], message: str) -> None:
    """Known input: a gate without length, arrivals outside the response."""
    side = as_response(room_like())
    with pytest.raises(ValueError, match=message):
        match_levels(side, side, **({"left_s": 0.01, "right_s": 0.01, "gate_s": GATE_S} | changes))


def test_unlike_rates_are_refused() -> None:
    """Known input: 48 and 44.1 kHz."""
    with pytest.raises(ValueError, match="44100"):
        matched(as_response(room_like()), as_response(room_like(), sample_rate_hz=44_100))


def test_arrivals_between_samples_make_no_difference() -> None:
    # Known input: the same response on both sides, one recorded for longer and its arrival
    # told a fraction of a sample later, so that its gate may hold a sample more or less.
    rng = np.random.default_rng(5)
    at_s = -0.01 + 500 / 48_000
    for n_samples in range(2000, 2200):
        samples = 1e-5 * rng.standard_normal(2300)
        samples[500] = 1.0
        longer = as_response(samples, start_s=-0.01)
        shorter = as_response(samples[:n_samples], start_s=-0.01)
        late_s = rng.uniform(0, 1) / 48_000
        found = match_levels(longer, shorter, left_s=at_s + late_s, right_s=at_s, gate_s=0.003)
        assert found.seat.left_minus_right_db == pytest.approx(0, abs=0.1)
