"""Passes, clock, lost blocks and foreign sounds on recordings whose truth is planted."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from analysis.recording.alignment import AlignedPasses, align_passes
from analysis.recording.clock import fit_clock
from analysis.recording.dropouts.zero_blocks import find_zero_blocks
from analysis.recording.extraction import NoPassError
from analysis.recording.passes import assign_hits, find_hits
from analysis.recording.responses import average_passes
from analysis.signals.delay import estimate_delay
from analysis.signals.programme import Programme
from analysis.signals.sweep import Sweep
from benchmarks import faults
from benchmarks.loudspeakers import random_pair
from benchmarks.recorder import noise_samples, record
from benchmarks.rooms import random_layout, responses

RATE_HZ = 48_000
START_S = 0.7
Float = NDArray[np.float64]


def recorded(
    programme: Programme, responses: Float, *, clock_ppm: float = 0.0, snr_db: float = 40.0
) -> Float:
    """Return a recording with a fixed seed."""
    return record(
        programme,
        responses,
        clock_ppm=clock_ppm,
        snr_db=snr_db,
        rng=np.random.default_rng(5),
        start_s=START_S,
        extra_s=0.3,
    )


def used(aligned: AlignedPasses) -> list[int]:
    """Return the indices of the passes that were used."""
    return [one.index for one in aligned.passes]


@pytest.mark.parametrize("snr_db", [40.0, 5.0, -5.0])
def test_all_passes_are_found_where_they_are(
    programme: Programme, room_responses: Float, snr_db: float
) -> None:
    """Known input: start of the recording plus the programme plus 400 samples of flight."""
    hits = find_hits(recorded(programme, room_responses, snr_db=snr_db), programme)
    expected_s = [START_S + start_s + 400 / RATE_HZ for start_s in programme.starts_s]
    assert [hit.start_s for hit in hits] == pytest.approx(expected_s, abs=1e-3)


@pytest.mark.parametrize(
    ("order", "keep"), [("LRRL", (1, 2, 3)), ("LRRL", (0, 1, 2)), ("LRRLLRRL", tuple(range(1, 8)))]
)
def test_spacing_tells_which_pass_is_missing(order: str, keep: tuple[int, ...]) -> None:
    """Known input: the longer middle pauses tell a lost first pass from a lost last one."""
    sweep = Sweep(start_hz=20, stop_hz=20_000, duration_s=1, level_dbfs=-20)
    whole = Programme(sweep=sweep, order=order, sample_rate_hz=RATE_HZ, lead_in_s=0.2, tail_s=0.4)
    samples = record(
        whole,
        np.eye(2, 100),
        snr_db=30,
        rng=np.random.default_rng(1),
        start_s=0.1,
    )
    first_s = whole.starts_s[keep[0]] - 0.05
    last_s = whole.starts_s[keep[-1]] + 1.5
    samples = samples[round((0.1 + first_s) * RATE_HZ) : round((0.1 + last_s) * RATE_HZ)]
    hits = find_hits(samples, whole)
    placement = assign_hits(hits, whole, recorded_s=samples.size / RATE_HZ)
    assert placement is not None
    assert tuple(index for index, _ in placement.passes) == keep
    assert placement.sides_certain


def test_lone_pass_cannot_tell_its_side(programme: Programme, room_responses: Float) -> None:
    """Known input: one pass with nothing around it could be any of the four."""
    samples = recorded(programme, room_responses)
    begin = round((START_S + programme.starts_s[1] - 0.1) * RATE_HZ)
    samples = samples[begin : begin + round(2.7 * RATE_HZ)]
    aligned = align_passes(samples, programme)
    assert not aligned.assignment.sides_certain


@pytest.mark.parametrize("clock_ppm", [-200.0, 0.0, 37.0, 200.0])
def test_clock_difference_is_found(
    programme: Programme, room_responses: Float, clock_ppm: float
) -> None:
    """Known input, to 0.1 ppm at 40 dB even with passes a third of the default's."""
    aligned = align_passes(recorded(programme, room_responses, clock_ppm=clock_ppm), programme)
    assert aligned.clock.drift_ppm == pytest.approx(clock_ppm, abs=0.1)
    assert abs(aligned.clock.drift_ppm - clock_ppm) < 4 * aligned.clock.std_ppm + 0.005


def test_clock_sigma_is_honest(programme: Programme, room_responses: Float) -> None:
    """Known input: over 20 noisy takes the error stays within its sigma's statistics."""
    scaled = []
    for seed in range(20):
        samples = record(
            programme,
            room_responses,
            clock_ppm=50,
            snr_db=10,
            rng=np.random.default_rng(seed),
            start_s=0.3,
            extra_s=0.1,
        )
        clock = align_passes(samples, programme).clock
        scaled.append((clock.drift_ppm - 50) / clock.std_ppm)
    assert 0.5 < float(np.std(scaled)) < 1.7


@settings(max_examples=25, deadline=None)
@given(shift=st.floats(-40, 40), level=st.floats(0.1, 10))
def test_delay_of_like_responses(shift: float, level: float) -> None:
    """Invariant: a response delayed by a phase ramp is found later by just that."""
    rng = np.random.default_rng(3)
    n_samples = 4096
    spectrum = np.fft.rfft(rng.standard_normal(512), n_samples)
    spectrum[n_samples // 4 :] = 0
    omega = 2 * np.pi * np.fft.rfftfreq(n_samples)
    base = np.fft.irfft(spectrum * np.exp(-1j * omega * 1000), n_samples)
    late = np.fft.irfft(spectrum * np.exp(-1j * omega * (1000 + shift)), n_samples)
    delay = estimate_delay(level * late, base, sample_rate_hz=1.0)
    assert delay.delay_s == pytest.approx(shift, abs=1e-6)


@pytest.mark.parametrize("at_pass", [0, 1, 2, 3])
@pytest.mark.parametrize("n_lost", [37, 480, -256])
def test_block_lost_inside_a_pass_is_mended(
    programme: Programme, room_responses: Float, at_pass: int, n_lost: int
) -> None:
    """Known input: the block's place and length come out, and the drift stays right."""
    samples = recorded(programme, room_responses, clock_ppm=80)
    at_s = START_S + programme.starts_s[at_pass] + 1.1
    fault = faults.dropped if n_lost > 0 else faults.repeated
    samples = fault(samples, sample_rate_hz=RATE_HZ, at_s=at_s, length_s=abs(n_lost) / RATE_HZ)
    aligned = align_passes(samples, programme)
    assert len(aligned.blocks) == 1
    block = aligned.blocks[0]
    assert block.kind == ("missing" if n_lost > 0 else "repeated")
    assert block.n_samples == abs(n_lost)
    assert block.at == pytest.approx(at_s * RATE_HZ, abs=abs(n_lost) + 2)
    assert aligned.clock.drift_ppm == pytest.approx(80, abs=0.1)


@pytest.mark.parametrize("after", [0, 1, 2])
def test_block_lost_in_a_pause(programme: Programme, room_responses: Float, after: int) -> None:
    """Known input: 20 ms can only lie in one pause, 1 ms can't be placed and says so."""
    samples = recorded(programme, room_responses, clock_ppm=80)
    at_s = START_S + programme.starts_s[after] + 2.6
    long = faults.dropped(samples, sample_rate_hz=RATE_HZ, at_s=at_s, length_s=0.02)
    aligned = align_passes(long, programme)
    assert aligned.clock.jump_located
    assert aligned.clock.jump_after == after
    assert aligned.clock.jump_s == pytest.approx(-0.02, abs=1e-9)
    assert aligned.clock.drift_ppm == pytest.approx(80, abs=0.5)
    short = faults.dropped(samples, sample_rate_hz=RATE_HZ, at_s=at_s, length_s=0.001)
    assert not align_passes(short, programme).clock.jump_located


STARTS_S = np.array([1.0, 8.5, 16.5, 24.0])


def late_by(drift_ppm: float, jumps: dict[int, int]) -> Float:
    """Return how late passes come whose left loudspeaker is 0.2 ms farther."""
    late_s = drift_ppm * 1e-6 * STARTS_S + np.array([0.0, -2e-4, -2e-4, 0.0])
    for after, n_samples in jumps.items():
        late_s[after + 1 :] += n_samples / RATE_HZ
    return late_s


@pytest.mark.parametrize("after", [0, 1, 2])
@pytest.mark.parametrize("drift_ppm", [-200.0, 200.0])
def test_count_of_a_jump_is_the_one_that_makes_the_sides_agree(
    drift_ppm: float, after: int
) -> None:
    """Closed form: of all whole counts one leaves the two sides the same drift."""
    late_s = late_by(drift_ppm, {after: -961})
    clock = fit_clock(STARTS_S, late_s, np.full(4, 1e-9), "LRRL", sample_rate_hz=RATE_HZ)
    assert clock.jump_located
    assert clock.jump_after == after
    assert clock.jump_s * RATE_HZ == pytest.approx(-961, abs=1e-6)
    assert clock.drift_ppm == pytest.approx(drift_ppm, abs=1e-3)
    assert clock.left_right_std_s < 1e-8


def test_half_a_sample_of_a_jump_shows_in_the_uncertainty() -> None:
    """Closed form: the recorder's samples are not ours, and the count is none of whole ones."""
    late_s = late_by(50.0, {0: -960})
    late_s[1:] -= 0.4 / RATE_HZ
    clock = fit_clock(STARTS_S, late_s, np.full(4, 1e-9), "LRRL", sample_rate_hz=RATE_HZ)
    assert clock.jump_located
    assert clock.left_right_std_s == pytest.approx(0.4 / RATE_HZ, rel=0.01)


@pytest.mark.parametrize("jumps", [{0: 532, 2: -462}, {0: -2868, 1: 191}])
def test_jumps_in_two_pauses_are_not_taken_for_one(jumps: dict[int, int]) -> None:
    """Known input: one jump explains them only with loudspeakers metres apart."""
    late_s = late_by(30.0, jumps)
    clock = fit_clock(STARTS_S, late_s, np.full(4, 1e-9), "LRRL", sample_rate_hz=RATE_HZ)
    assert not clock.jump_located


def test_jump_beside_a_mended_block_is_not_placed() -> None:
    """Known input: with a second fault nothing tells which pass lost the first block."""
    late_s = late_by(30.0, {1: 960})
    keywords = {"sample_rate_hz": RATE_HZ, "repaired": True}
    assert not fit_clock(STARTS_S, late_s, np.full(4, 1e-9), "LRRL", **keywords).jump_located


def test_block_of_uncertain_length_leaves_only_a_small_jump() -> None:
    """Known input: a few samples of a block are put right, a hundred are another fault."""
    for n_samples, placed in ((3, True), (150, False)):
        clock = fit_clock(
            STARTS_S,
            late_by(30.0, {0: n_samples}),
            np.full(4, 1e-9),
            "LRRL",
            sample_rate_hz=RATE_HZ,
            jump_after=0,
            repaired=True,
        )
        assert clock.jump_located == placed
        assert clock.jump_s * RATE_HZ == pytest.approx(n_samples, abs=1e-6)


def test_without_repeats_the_drift_is_unknown() -> None:
    """Closed form: 100 ppm over the time between the sides' passes."""
    clock = fit_clock(
        np.array([1.0, 8.5]), np.zeros(2), np.full(2, 1e-9), "LR", sample_rate_hz=RATE_HZ
    )
    assert not clock.measured
    assert clock.left_right_std_s == pytest.approx(100e-6 * 7.5)


def test_zeroed_block_is_found(programme: Programme, room_responses: Float) -> None:
    """Known input: 10 ms of zeros inside the second pass, none in a clean recording."""
    samples = recorded(programme, room_responses)
    assert find_zero_blocks(samples, RATE_HZ) == ()
    at_s = START_S + programme.starts_s[1] + 1.0
    holed = faults.zeroed(samples, sample_rate_hz=RATE_HZ, at_s=at_s, length_s=0.01)
    (block,) = find_zero_blocks(holed, RATE_HZ)
    assert block.at == pytest.approx(at_s * RATE_HZ, abs=1)
    assert block.n_samples == pytest.approx(480, abs=1)


def test_slam_and_click_in_two_passes_leave_the_responses(
    programme: Programme, room_responses: Float
) -> None:
    """Known input: with both disturbed once, both responses stay those of a clean take."""
    clean = recorded(programme, room_responses)
    noisy = faults.slam(
        clean,
        sample_rate_hz=RATE_HZ,
        at_s=START_S + programme.starts_s[0] + 0.5,
        level_dbfs=-16,
        rng=np.random.default_rng(2),
    )
    noisy = faults.click(
        noisy,
        sample_rate_hz=RATE_HZ,
        at_s=START_S + programme.starts_s[1] + 1.2,
        level_dbfs=-6,
    )
    aligned = align_passes(noisy, programme)
    assert [bool(stretches) for stretches in aligned.disturbance.foreign_sound_s] == [
        True,
        True,
        False,
        False,
    ]
    pairs = [average_passes(align_passes(each, programme), programme) for each in (clean, noisy)]
    for before, after in zip(*pairs, strict=True):
        assert before is not None
        assert after is not None
        assert after.response.gaps_hz == ()
        wrong = after.response.samples[:9600] - before.response.samples[:9600]
        # One pass's noise instead of two passes' mean; the click alone stands far above.
        limit = 5 * float(np.std(before.response.noise))
        assert float(np.std(wrong)) < limit


@pytest.mark.parametrize("snr_db", [60.0, 40.0, 20.0, 5.0])
def test_clean_passes_are_not_called_spoilt(
    programme: Programme, room_responses: Float, snr_db: float
) -> None:
    """Known input: stationary noise alone, at any level, spoils nothing."""
    aligned = align_passes(recorded(programme, room_responses, snr_db=snr_db), programme)
    assert not aligned.disturbance.direct.any()
    assert not aligned.disturbance.late.any()


def test_pass_cut_at_its_start_serves_above(programme: Programme, room_responses: Float) -> None:
    """Known input: the recording begins 1 s into the first pass, at 632 Hz."""
    samples = recorded(programme, room_responses)
    begin = round((START_S + programme.starts_s[0] + 1.0) * RATE_HZ)
    aligned = align_passes(samples[begin:], programme)
    assert used(aligned) == [0, 1, 2, 3]
    spoilt = aligned.disturbance.direct[0]
    assert spoilt[aligned.disturbance.high_hz < 600].all()
    assert not spoilt[aligned.disturbance.low_hz > 1500].any()
    assert not aligned.disturbance.direct[1:].any()


def test_mean_noise_is_the_noise_in_the_mean(programme: Programme) -> None:
    """Second method: the late end of the response holds noise alone, with the same RMS."""
    responses = np.eye(2, 200)
    left, right = average_passes(
        align_passes(recorded(programme, responses, snr_db=20), programme), programme
    )
    for side in (left, right):
        assert side is not None
        late = side.response.samples[-12_000:]
        assert float(np.std(side.response.noise)) == pytest.approx(float(np.std(late)), rel=0.2)


def test_noise_alone_and_another_sweep_are_refused(programme: Programme) -> None:
    """Known input: nothing is found; the other sweep is told from silence."""
    noise = noise_samples(12 * RATE_HZ, sample_rate_hz=RATE_HZ, rng=np.random.default_rng(1))
    with pytest.raises(NoPassError) as caught:
        align_passes(noise, programme)
    assert not caught.value.other_sweep
    other = Sweep(start_hz=30, stop_hz=15_000, duration_s=2.6, level_dbfs=-20)
    wrong = Programme(sweep=other, order="LRRL", sample_rate_hz=RATE_HZ, lead_in_s=0.5, tail_s=0.8)
    samples = record(wrong, np.eye(2, 50), snr_db=40, rng=np.random.default_rng(1))
    with pytest.raises(NoPassError) as caught:
        align_passes(samples, programme)
    assert caught.value.other_sweep


@settings(max_examples=8, deadline=None)
@given(start=st.integers(0, 40_000))
def test_reading_does_not_depend_on_the_start(start: int) -> None:
    """Invariant: more room noise before the programme changes nothing but the origin."""
    sweep = Sweep(start_hz=50, stop_hz=20_000, duration_s=1, level_dbfs=-20)
    programme = Programme(
        sweep=sweep, order="LRRL", sample_rate_hz=RATE_HZ, lead_in_s=0.2, tail_s=0.4
    )
    responses = np.zeros((2, 400))
    responses[0, 100], responses[1, 103] = 0.4, 0.4
    samples = record(
        programme, responses, snr_db=50, rng=np.random.default_rng(1), start_s=0.9, extra_s=0.2
    )
    whole = average_passes(align_passes(samples, programme), programme)
    later = average_passes(align_passes(samples[start:], programme), programme)
    for one, other in zip(whole, later, strict=True):
        assert one is not None
        assert other is not None
        n_both = 9600
        shift = estimate_delay(
            other.response.samples[:n_both], one.response.samples[:n_both], sample_rate_hz=RATE_HZ
        )
        # The common zero may move with the coarse origin, but for both sides alike.
        assert shift.coherence > 0.999


@pytest.mark.parametrize("seed", range(8))
def test_no_pass_is_taken_for_another_sweep(programme: Programme, seed: int) -> None:
    """Reference library: all four passes serve in living rooms full of reflections."""
    rng = np.random.default_rng((seed, 20))
    impulses = responses(
        random_layout(rng),
        random_pair(rng, "typical"),
        sample_rate_hz=RATE_HZ,
        duration_s=0.4,
        max_order=8,
        simulator="rir_generator",
    )
    samples = record(
        programme, impulses, clock_ppm=float(rng.uniform(-200, 200)), snr_db=20, rng=rng
    )
    aligned = align_passes(samples, programme)
    assert used(aligned) == [0, 1, 2, 3]
    assert aligned.blocks == ()
