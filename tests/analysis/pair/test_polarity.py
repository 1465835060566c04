"""The polarity against loudspeakers whose wiring is known, in rooms and out of them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.pair.polarity import PolarityMatch, match_polarity
from analysis.signals.impulse_response import ImpulseResponse
from benchmarks.crossovers import KINDS, Loudspeaker, random_loudspeaker
from benchmarks.level_and_polarity import PairResponses, random_pair_responses, through
from benchmarks.recorder import noise_samples

RATE_HZ = 48_000
FREE_FIELD = PairResponses(
    responses=np.eye(2, 9600, 480)[:1].repeat(2, axis=0), arrivals_s=(0.01, 0.01)
)


@pytest.fixture(scope="module")
def rooms() -> list[PairResponses]:
    """Return rooms by image sources (rir-generator, its high-pass off)."""
    rng = np.random.default_rng(5)
    return [random_pair_responses(rng, n_samples=9600) for _ in range(12)]


def as_response(samples: np.ndarray, *, noise_rms: float, seed: int, **changes) -> ImpulseResponse:
    """Return samples with noise as a record."""
    rng = np.random.default_rng(seed)
    noise = noise_rms * noise_samples(
        samples.size + RATE_HZ // 2, sample_rate_hz=RATE_HZ, rng=rng, colour="white"
    )
    wanted = {
        "samples": samples + noise[: samples.size],
        "sample_rate_hz": RATE_HZ,
        "start_s": 0.0,
        "noise": noise[samples.size :],
        "band_hz": (15.0, 22_000.0),
    }
    return ImpulseResponse(**(wanted | changes))


def heard(
    room: PairResponses,
    left: Loudspeaker,
    right: Loudspeaker,
    *,
    noise_rms: float = 1e-6,
    late_s: float = 0.0,
    **changes,
) -> PolarityMatch:
    """Return the polarity of a pair in a room, the arrivals given late by `late_s`."""
    sides = [
        as_response(samples, noise_rms=noise_rms, seed=seed, **changes)
        for seed, samples in enumerate(through(room, (left, right)))
    ]
    left_s, right_s = room.arrivals_s
    return match_polarity(*sides, left_s=left_s + late_s, right_s=right_s - late_s)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(("left", "right"), [(1, 1), (1, -1), (-1, 1), (-1, -1)])
def test_wiring_is_found_whatever_the_crossover_inverts(
    rooms: list[PairResponses], kind: str, left: int, right: int
) -> None:
    """Known input: two-way loudspeakers, like but not identical, in twelve rooms."""
    rng = np.random.default_rng(6)
    for room in rooms:
        design = random_loudspeaker(rng, kind=kind)
        pair = [replace(design.varied(rng, 1.0), polarity=sign) for sign in (left, right)]
        found = heard(room, *pair, late_s=rng.normal(0, 15e-6))
        assert (found.left, found.right) == (left, right)
        assert found.matched is (left == right)
        assert found.reasons == ()


def test_three_ways_are_never_called_wrong(rooms: list[PairResponses]) -> None:
    """Known input: inverted midranges leave the sign open at times, the agreement never."""
    rng = np.random.default_rng(7)
    for index in range(48):
        design = random_loudspeaker(rng, ways=3)
        signs = rng.choice([1, -1], 2)
        pair = [replace(design.varied(rng, 1.0), polarity=int(sign)) for sign in signs]
        found = heard(rooms[index % len(rooms)], *pair)
        assert found.matched is bool(signs[0] == signs[1])
        assert found.left in (signs[0], None)
        assert found.right in (signs[1], None)
        assert (found.left is None) == any(reason.startswith("left") for reason in found.reasons)


def test_agreement_survives_noise(rooms: list[PairResponses]) -> None:
    """Known input: noise of a twentieth of the response's peak at one metre."""
    rng = np.random.default_rng(8)
    for index in range(48):
        design = random_loudspeaker(rng)
        signs = rng.choice([1, -1], 2)
        pair = [replace(design, polarity=int(sign)) for sign in signs]
        found = heard(rooms[index % len(rooms)], *pair, noise_rms=0.01)
        assert found.matched in (bool(signs[0] == signs[1]), None)
        assert found.left in (signs[0], None)


def test_one_tweeter_wired_backwards_is_left_open() -> None:
    """Known input: the woofers agree, the tweeters don't, and no one wire explains it."""
    design = random_loudspeaker(np.random.default_rng(9), kind="linkwitz-riley 4")
    # A low crossover: the tweeters hold most of the upper band.
    design = replace(design, crossover_hz=900.0)
    found = heard(FREE_FIELD, design, replace(design, tweeter_polarity=-1))
    assert (found.left, found.right, found.matched) == (1, 1, None)
    assert "driver" in found.reasons[0]
    both = replace(design, tweeter_polarity=-1)
    assert heard(FREE_FIELD, both, both).matched is True


def test_noise_alone_is_left_open() -> None:
    """Known input: nothing but noise."""
    sides = [as_response(np.zeros(9600), noise_rms=0.1, seed=seed) for seed in (1, 2)]
    found = match_polarity(*sides, left_s=0.01, right_s=0.01)
    assert (found.left, found.right, found.matched) == (None, None, None)
    assert len(found.reasons) == 3


def test_one_silent_side_leaves_the_other_its_sign() -> None:
    """Known input: left plays inverted, right is silent."""
    design = replace(random_loudspeaker(np.random.default_rng(10)), polarity=-1)
    samples = through(FREE_FIELD, (design, design))[0]
    found = match_polarity(
        as_response(samples, noise_rms=1e-4, seed=1),
        as_response(np.zeros(9600), noise_rms=1e-4, seed=2),
        left_s=0.01,
        right_s=0.01,
    )
    assert (found.left, found.right, found.matched) == (-1, None, None)


def test_sweep_without_bass_tells_the_agreement_only() -> None:
    """Known input: a sweep from 500 Hz on holds no woofer."""
    design = random_loudspeaker(np.random.default_rng(11))
    found = heard(FREE_FIELD, design, replace(design, polarity=-1), band_hz=(500.0, 22_000.0))
    assert (found.left, found.right, found.matched) == (None, None, False)
    assert "missing" in found.reasons[0]


@given(st.floats(1e-3, 1e3), st.integers(-200, 200), st.sampled_from([1, -1]))
@settings(deadline=None, max_examples=15)
def test_gain_delay_and_an_inverting_input(gain: float, late: int, sign: int) -> None:
    """Invariant: gain and delay change nothing, an inverting input both signs alike."""
    design = random_loudspeaker(np.random.default_rng(12))
    samples = through(FREE_FIELD, (design, replace(design, polarity=-1)))
    sides = [
        as_response(sign * gain * np.roll(row, late), noise_rms=1e-6 * gain, seed=seed)
        for seed, row in enumerate(samples)
    ]
    at_s = 0.01 + late / RATE_HZ
    found = match_polarity(*sides, left_s=at_s, right_s=at_s)
    assert (found.left, found.right, found.matched) == (sign, -sign, False)


def test_arrival_outside_the_response_is_refused() -> None:
    """Known input: an arrival after the end."""
    side = as_response(np.zeros(480), noise_rms=1e-3, seed=1)
    with pytest.raises(ValueError, match=r"right_s 0\.5"):
        match_polarity(side, side, left_s=0.005, right_s=0.5)


@pytest.mark.parametrize("distance", ["150", "200", "300"])
def test_measured_pair_agrees_until_one_is_inverted(distance: str) -> None:
    """Measured data: a pair in a real room at 48 kHz (CC BY 4.0, see its NOTE.md)."""
    folder = Path(__file__).parents[4] / "shared" / "data" / "variable-room-pairs"
    files = [sorted(folder.glob(f"**/*S{azimuth}-{distance}*")) for azimuth in ("030", "330")]
    if not all(files):
        pytest.skip("the measured pairs aren't here: ../shared/data/variable-room-pairs")
    left, right = (soundfile.read(paths[0], always_2d=True)[0][:, 6] for paths in files)
    for sign in (1, -1):
        sides = [as_response(row, noise_rms=1e-7, seed=1) for row in (left, sign * right)]
        # Its authors put the direct sound at sample 480.
        found = match_polarity(*sides, left_s=0.01, right_s=0.01)
        assert found.matched is (sign == 1)
