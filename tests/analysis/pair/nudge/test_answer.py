"""One answer of the nudge loop against planted delays, clocks, motion and faults."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.pair.arrival import IN_ROOM_STD_M
from analysis.pair.nudge.answer import Doubt, NudgeAnswer, answer_from_sweeps
from analysis.pair.nudge.listening import ListenState, listen
from analysis.pair.nudge.pattern import NudgePattern, nudge_pattern
from analysis.pair.nudge.repeat import sweep_change
from analysis.pair.nudge.sweep import Fault, hear_sweep
from benchmarks.nudge import answers_to, recorded, row, trials

RATE_HZ = 48_000
C_M_S = 343.2
PATTERN = nudge_pattern(sample_rate_hz=RATE_HZ, level_dbfs=-26)
ARRIVAL = 400


def spikes(gains: tuple[float, float] = (0.3, 0.3)) -> np.ndarray:
    """Return a direct sound, a reflection 2 ms later and a tail for each side."""
    rng = np.random.default_rng(5)
    time_s = np.arange(9600) / RATE_HZ
    pair = 0.004 * rng.standard_normal((2, time_s.size)) * np.exp(-time_s / 0.05)
    pair[:, : ARRIVAL + 96] = 0
    pair[:, ARRIVAL], pair[:, ARRIVAL + 96] = 1.0, 0.4
    return pair * np.array(gains)[:, None]


def later(difference_m: float, n_sweeps: int) -> list[tuple[float, float]]:
    """Return arrivals of left later by a difference, in closed form."""
    return [(difference_m / C_M_S, 0.0)] * n_sweeps


def given(samples: np.ndarray, pattern: NudgePattern = PATTERN) -> list[NudgeAnswer]:
    return [one for _, one in answers_to(samples, pattern, speed_of_sound_m_s=C_M_S)]


@pytest.mark.parametrize(("difference_m", "ppm"), [(0.0123, 300.0), (-0.04, -300.0)])
@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_a_planted_difference_is_found_whatever_the_clocks(
    rate_hz: int, difference_m: float, ppm: float
) -> None:
    """Known input: a delay between samples; at 300 ppm an ignored drift would be 30 mm."""
    pattern = nudge_pattern(sample_rate_hz=rate_hz, level_dbfs=-26)
    samples = recorded(
        pattern,
        spikes(),
        n_sweeps=5,
        clock_ppm=ppm,
        moved_s=later(difference_m, 5),
        snr_db=40,
        rng=np.random.default_rng(2),
    )
    answers = given(samples, pattern)
    assert len(answers) == 3
    for one in answers:
        assert one.doubt is None
        assert one.difference_m == pytest.approx(difference_m, abs=1e-4)
        assert one.rate_ppm == pytest.approx(ppm, abs=1.0)
        assert one.std_m is not None
        assert one.std_m < 1e-4
        assert one.in_room_std_m == pytest.approx(np.hypot(one.std_m, IN_ROOM_STD_M))


def test_even_motion_cancels_and_the_answer_is_that_of_the_middle_sweep() -> None:
    """Known input: left comes 10 mm a second nearer; the clocks are apart as well."""
    moved_s = [((0.03 - 0.01 * PATTERN.start_s(index)) / C_M_S, 0.0) for index in range(8)]
    samples = recorded(PATTERN, spikes(), n_sweeps=8, clock_ppm=100, moved_s=moved_s)
    answers = given(samples)
    assert len(answers) == 6
    for one in answers:
        truth_m = 0.03 - 0.01 * (one.time_s - PATTERN.sweep.duration_s / 2)
        assert one.difference_m == pytest.approx(truth_m, abs=5e-5)
        own_ppm = 100 - (1e4 / C_M_S if one.side == "left" else 0.0)
        assert one.rate_ppm == pytest.approx(own_ppm, abs=0.5)


@pytest.mark.parametrize("gain_db", [-6.0, 1.5])
def test_a_planted_level_difference_is_found(gain_db: float) -> None:
    """Known input: the same response, louder by a gain; swapping the sides turns the sign."""
    gain = 0.3 * 10 ** (gain_db / 20)
    for gains, sign in (((gain, 0.3), 1), ((0.3, gain), -1)):
        samples = recorded(
            PATTERN, spikes(gains), n_sweeps=4, snr_db=20, rng=np.random.default_rng(4)
        )
        for one in given(samples):
            assert one.level_std_db is not None
            assert 0.005 < one.level_std_db < 0.5
            assert one.level_db == pytest.approx(sign * gain_db, abs=4 * one.level_std_db + 0.03)


def test_unlike_loudspeakers_in_rooms_stay_within_the_sigma() -> None:
    """Known input: rooms of rir-generator, its geometry the truth; errors against sigma."""
    scaled, errors_mm = [], []
    for snr_db in (40.0, 10.0):
        found = trials("typical", snr_db, n_trials=3, seed=42)
        assert len({truth_m for truth_m, _, _ in found}) == 3
        for truth_m, at_s, one in found:
            assert at_s > 0.8
            assert one.doubt is None
            assert one.difference_m is not None
            assert one.std_m is not None
            errors_mm.append(1e3 * (one.difference_m - truth_m))
            scaled.append(abs(errors_mm[-1]) / (1e3 * one.std_m))
        # Each room's first answer comes early.
        firsts = {truth_m: at_s for truth_m, at_s, _ in reversed(found)}
        assert max(firsts.values()) < 3.0
    assert np.sqrt(np.mean(np.square(errors_mm))) < 0.3
    assert np.mean(np.array(scaled) < 2) > 0.8
    assert "typical" in row("typical", 10.0, found)


# --- What goes wrong --------------------------------------------------------------------


def clean(n_sweeps: int = 12) -> np.ndarray:
    return recorded(
        PATTERN,
        spikes(),
        n_sweeps=n_sweeps,
        clock_ppm=40,
        moved_s=later(0.01, n_sweeps),
        snr_db=30,
        rng=np.random.default_rng(9),
    )


def doubts(answers: list[NudgeAnswer]) -> list[Doubt | None]:
    return [one.doubt for one in answers]


def sweep_frame(index: int) -> int:
    """Return the frame of the recording at which a sweep arrives."""
    return round((0.15 + PATTERN.start_s(index)) * RATE_HZ) + ARRIVAL


@pytest.mark.parametrize("duration_s", [0.002, 0.3])
def test_a_noise_widens_or_doubts_but_never_lies(duration_s: float) -> None:
    """Known input: bursts as loud as the sweep and ten times as loud, at the worst moments."""
    level = float(np.std(clean()))
    n_doubted = 0
    for seed, gain in enumerate((1.0, 3.0, 10.0)):
        rng = np.random.default_rng(seed)
        samples = clean()
        first = sweep_frame(5) + round(rng.uniform(0.0, 0.1) * RATE_HZ)
        n_noise = round(duration_s * RATE_HZ)
        samples[first : first + n_noise] += gain * level * rng.standard_normal(n_noise)
        for one in given(samples):
            if one.doubt is None:
                assert one.difference_m is not None
                assert one.std_m is not None
                assert abs(one.difference_m - 0.01) < max(4 * one.std_m, 5e-4)
            n_doubted += one.doubt is not None
            # Answers before the noise and well after it are sure.
            assert one.doubt is None or 5 <= one.index <= 9
    assert n_doubted > 0 or duration_s < 0.1


@pytest.mark.parametrize(
    ("n_lost", "repeated"), [(24, True), (300, False), (2000, True), (30_000, False)]
)
def test_lost_samples_are_noticed_and_the_pattern_is_found_again(
    n_lost: int, *, repeated: bool
) -> None:
    """Known input: samples cut out of, or repeated in, the pause between two sweeps."""
    samples = clean(20)
    at = sweep_frame(6) - 3000
    samples = np.concatenate((samples[:at], samples[at - n_lost if repeated else at + n_lost :]))
    answers = given(samples)
    wrong = [
        one
        for one in answers
        if one.doubt is None and not abs((one.difference_m or 0.0) - 0.01) < 3e-4
    ]
    assert wrong == []
    # A shift of half a millisecond or more is never mistaken for a motion.
    assert any(one.doubt for one in answers)
    assert doubts(answers)[-3:] == [None] * 3


def test_what_the_input_does_is_said() -> None:
    """Known input: each fault of the input put into one sweep."""
    faulty = {
        Doubt.LOST: lambda cut: np.full(cut.size, np.nan),
        Doubt.SILENT: np.zeros_like,
        Doubt.CLIPPED: lambda cut: np.clip(cut * 50, -1, 1),
        Doubt.UNHEARD: lambda cut: 1e-3 * np.random.default_rng(1).standard_normal(cut.size),
    }
    for doubt, spoil in faulty.items():
        samples = clean(9)
        part = slice(sweep_frame(4) - 2500, sweep_frame(4) + 9000)
        samples[part] = spoil(samples[part])
        answers = given(samples)
        spoilt = [one for one in answers if one.doubt is not None]
        assert {one.doubt for one in spoilt} == {doubt}
        assert [one.index for one in spoilt] == [4, 5, 6]
        assert {one.doubt_side for one in spoilt} == {"left"}


@pytest.mark.parametrize(("gains", "dead"), [((0.3, 0.0), "right"), ((0.0, 0.3), "left")])
def test_a_dead_side_is_named(gains: tuple[float, float], dead: str) -> None:
    """Known input: one loudspeaker silenced from the start."""
    samples = recorded(PATTERN, spikes(gains), n_sweeps=10, snr_db=30, rng=np.random.default_rng(1))
    answers = given(samples)
    assert answers
    assert {one.doubt for one in answers} == {Doubt.UNHEARD}
    assert {one.doubt_side for one in answers} == {dead}


def test_a_loudspeaker_that_is_covered_for_a_moment_is_said() -> None:
    """Known input: left's direct sound drops by 6 dB between two of its sweeps."""
    loud, low = (
        clean(10),
        recorded(PATTERN, spikes((0.15, 0.3)), n_sweeps=10, clock_ppm=40, moved_s=later(0.01, 10)),
    )
    samples = loud.copy()
    at = sweep_frame(6) - 2500
    samples[at : at + 9000] = low[at : at + 9000]
    found = [one for one in given(samples) if one.doubt is not None]
    assert {one.doubt for one in found} == {Doubt.COVERED}
    assert {one.doubt_side for one in found} == {"left"}


def test_nothing_is_answered_while_there_is_nothing_to_hear() -> None:
    """Known input: silence, then noise; and the state can be asked again and again."""
    state = ListenState(pattern=PATTERN)
    noise = 0.01 * np.random.default_rng(0).standard_normal(4 * RATE_HZ)
    for samples in (np.zeros(0), np.zeros(2 * RATE_HZ), noise[: 3 * RATE_HZ], noise):
        state, answers = listen(state, samples, speed_of_sound_m_s=C_M_S)
        assert answers == ()
    assert state.lag_s is None


def test_a_sweep_outside_the_recording_was_not_delivered() -> None:
    """Known input: a recording that ends before the sweep does."""
    heard = hear_sweep(np.zeros(100), PATTERN, 0, expected_lag_s=0.2)
    assert heard.fault is Fault.LOST


def test_wrong_arguments_are_refused() -> None:
    """Known input: too few sweeps, sweeps out of order, sweeps without a response."""
    lost = [hear_sweep(np.zeros(10), PATTERN, index, expected_lag_s=0.1) for index in range(4)]
    with pytest.raises(ValueError, match="three that follow"):
        answer_from_sweeps(lost[:2], PATTERN, speed_of_sound_m_s=C_M_S)
    with pytest.raises(ValueError, match="three that follow"):
        answer_from_sweeps([lost[0], lost[2], lost[3]], PATTERN, speed_of_sound_m_s=C_M_S)
    with pytest.raises(ValueError, match="must both have a response"):
        sweep_change(lost[0], lost[2])
    samples = clean(4)
    heard = [hear_sweep(samples, PATTERN, k, expected_lag_s=0.158) for k in (0, 1)]
    with pytest.raises(ValueError, match="of one side"):
        sweep_change(*heard)
