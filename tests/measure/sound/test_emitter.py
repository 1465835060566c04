"""What leaves the program, whatever went in: capped, stopped in time, never more energy."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import Phase, example, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from numpy.typing import NDArray

from measure.errors import UnsafeError
from measure.safety.limits import CAP_DBFS, START_WITHIN_S, SafeSignal, admit
from measure.safety.treble_account import SHORT_CAP, SHORT_WINDOW_S
from measure.safety.treble_ledger import MemoryLedger
from measure.sound.emitter import APPEND_MARGIN_S, STOP_FADE_S, Emitter

RATE_HZ = 44_100
CAP = 10 ** (CAP_DBFS / 20)
FEW = settings(deadline=None, max_examples=40)


def tone(
    *, seconds: float, level: float = 0.2, hz: float = 3000.0, side: int = 0, rate_hz: int = RATE_HZ
) -> NDArray[np.float64]:
    """Return a tone that fades in and out over 5 ms, on one side."""
    time_s = np.arange(round(seconds * rate_hz)) / rate_hz
    edge = np.minimum(time_s, seconds - 1 / rate_hz - time_s) / 0.005
    samples = np.zeros((2, time_s.size))
    samples[side] = level * np.sin(2 * np.pi * hz * time_s) * np.clip(edge, 0, 1)
    return samples


def safe(samples: NDArray[np.float64], **options: float) -> SafeSignal:
    return admit(samples, sample_rate_hz=RATE_HZ, ledger=MemoryLedger(), **options)


def emitted(emitter: Emitter, n_frames: int, *, block: int = 512) -> NDArray[np.float32]:
    """Return the next frames, shape (n, 2), taken in blocks into buffers full of rubbish."""
    blocks = [np.zeros((0, 2), dtype=np.float32)]
    for first in range(0, n_frames, block):
        out = np.full((min(block, n_frames - first), 2), np.nan, dtype=np.float32)
        emitter.fill(out)
        blocks.append(out)
    return np.concatenate(blocks)


# --- What comes out is what went in -----------------------------------------------------


@pytest.mark.parametrize("block", [1, 64, 441, 5000])
def test_a_signal_comes_out_once_and_then_silence(block: int) -> None:
    # Known input: the samples themselves, whatever the block's length.
    signal = safe(tone(seconds=0.1, side=1))
    emitter = Emitter(signal)
    out = emitted(emitter, 6000, block=block)
    n = signal.samples.shape[1]
    assert np.array_equal(out[:n].T, signal.samples)
    assert not out[n:].any()
    assert emitter.silent
    assert emitter.n_frames == 6000


def test_a_loop_comes_out_again_and_again_and_ends_when_admitted_for() -> None:
    # Known input: whole periods before the end's fade, silence after it.
    signal = safe(tone(seconds=0.06), repeated_s=1.0)
    emitter = Emitter(signal, repeat=True)
    out = emitted(emitter, 2 * RATE_HZ, block=777)
    n_loud = RATE_HZ - round(STOP_FADE_S * RATE_HZ)
    period = signal.samples.shape[1]
    expected = np.tile(signal.samples, (1, 20))[:, :n_loud]
    assert np.array_equal(out[:n_loud].T, expected)
    assert not out[RATE_HZ:].any()
    assert out[RATE_HZ - period : RATE_HZ].any()
    assert emitter.silent


def test_channels_of_a_larger_device() -> None:
    # Known input: left and right land where they are wanted, the others stay silent.
    signal = safe(tone(seconds=0.1) + tone(seconds=0.1, side=1, hz=500))
    emitter = Emitter(signal, channels=(3, 1), n_device_channels=4)
    out = np.full((4410, 4), np.nan, dtype=np.float32)
    emitter.fill(out)
    assert np.array_equal(out[:, [3, 1]].T, signal.samples)
    assert not out[:, [0, 2]].any()


def test_what_is_appended_starts_at_its_frame() -> None:
    # Known input: two tones and the silence between.
    first, second = safe(tone(seconds=0.1)), safe(tone(seconds=0.2, side=1))
    emitter = Emitter(first)
    emitted(emitter, 1000, block=100)
    at = 7777
    assert emitter.append(second, at)
    out = emitted(emitter, 30_000)
    at -= 1000
    assert not out[3410:at].any()
    assert np.array_equal(out[at : at + 8820].T, second.samples)
    assert not out[at + 8820 :].any()


def test_a_moment_too_near_is_refused_and_costs_nothing() -> None:
    # Known input: a sample less than the margin, then the margin.
    emitter, late = Emitter(safe(tone(seconds=0.05))), safe(tone(seconds=0.05))
    emitted(emitter, 4000, block=100)
    margin = round(APPEND_MARGIN_S * RATE_HZ)
    assert not emitter.append(late, 4000 + margin - 1)
    assert emitter.append(late, 4000 + margin)
    with pytest.raises(ValueError, match="before the end"):
        emitter.append(safe(tone(seconds=0.05)), 4000 + margin + 1)


def test_an_item_whose_start_was_missed_stays_out_whole() -> None:
    # Invariant: nothing begins in its middle, which would be a step.
    emitter = Emitter(safe(tone(seconds=0.05)))
    emitted(emitter, 3000, block=100)
    assert emitter.append(safe(tone(seconds=0.1)), 8000)
    emitter._head = 8001
    assert not emitted(emitter, 8000).any()


def test_a_long_run_keeps_only_what_is_still_to_come() -> None:
    # Invariant: memory doesn't grow with what was played.
    emitter = Emitter(safe(tone(seconds=0.05)))
    for turn in range(1, 6):
        assert emitter.append(safe(tone(seconds=0.05)), turn * 10_000)
        emitted(emitter, 10_000)
    kept = sum(samples.nbytes for _, samples in emitter._items)
    assert kept <= 2 * 2 * 4 * 2205


# --- Limits -----------------------------------------------------------------------------

ANY_FLOAT = st.floats(allow_nan=True, allow_infinity=True, width=64)
LEVELS = st.one_of(st.sampled_from([0.0, 0.2, CAP, -CAP, 0.3, np.nan, np.inf, 1e300]), ANY_FLOAT)


@FEW
@given(
    samples=arrays.arrays(
        dtype=st.sampled_from([np.float64, np.float32, np.int16]),
        shape=st.one_of(st.tuples(st.just(2), st.integers(0, 40)), arrays.array_shapes(max_dims=3)),
    ),
    repeated_s=st.one_of(st.none(), ANY_FLOAT),
)
def test_whatever_is_offered_is_refused_or_below_the_cap(
    samples: NDArray[np.generic], repeated_s: float | None
) -> None:
    # Invariant, with the cap written anew: refusal is an error of the two kinds promised.
    try:
        signal = admit(
            samples, sample_rate_hz=RATE_HZ, ledger=MemoryLedger(), repeated_s=repeated_s
        )
    except (ValueError, UnsafeError):
        return
    out = emitted(Emitter(signal, repeat=repeated_s is not None), 300, block=7)
    assert np.abs(out).max() <= CAP


@FEW
@given(
    rubbish=arrays.arrays(np.float32, (2, 20), elements=st.floats(width=32)),
    repeat=st.booleans(),
    stop_after=st.integers(0, 9),
    block=st.sampled_from([33, 256, 4096, 9000]),
)
@example(np.full((2, 20), np.nan, dtype=np.float32), False, 3, 512)
@example(np.full((2, 20), np.inf, dtype=np.float32), True, 0, 256)
def test_no_samples_whatever_get_past_the_emitter(
    rubbish: NDArray[np.float32], repeat: bool, stop_after: int, block: int
) -> None:
    # Invariant: even where somebody wrote into a signal after it was checked.
    signal, second = (safe(tone(seconds=0.1), repeated_s=1.5) for _ in range(2))
    emitter = Emitter(signal, repeat=repeat)
    if not repeat:
        assert emitter.append(second, 6000)
    for one in (signal, second):
        one.samples.flags.writeable = True
        one.samples[:, :4000] = np.tile(rubbish, 200)
    for turn in range(10):
        if turn == stop_after:
            emitter.stop()
        out = emitted(emitter, block, block=block)
        assert np.abs(out).max() <= CAP
        if turn >= stop_after:
            assert not out[round(STOP_FADE_S * RATE_HZ) :].any()
    emitted(emitter, 441)
    assert emitter.silent


@FEW
@given(stop_at=st.integers(0, 12_000), block=st.integers(50, 3000), repeat=st.booleans())
def test_stopping_fades_within_the_next_block(stop_at: int, block: int, repeat: bool) -> None:
    # Closed form: from the block after the stop a raised cosine of 10 ms, and then nothing.
    signal = safe(tone(seconds=0.2), repeated_s=3.0)
    emitter = Emitter(signal, repeat=repeat)
    n_before = -(-stop_at // block) * block
    emitted(emitter, n_before, block=block)
    emitter.stop()
    assert not emitter.append(safe(tone(seconds=0.1)), 100_000) if not repeat else True
    out = emitted(emitter, 4 * block + 2205, block=block)
    n_fade = round(0.01 * RATE_HZ)
    plain = np.zeros((2, n_before + n_fade))
    loop = np.tile(signal.samples, (1, 3 if repeat else 1))[:, : n_before + n_fade]
    plain[:, : loop.shape[1]] = loop
    share = np.arange(n_fade) / (n_fade - 1)
    faded = plain[:, n_before:] * (0.5 + 0.5 * np.cos(np.pi * share))
    assert np.allclose(out[:n_fade].T, faded, atol=1e-7)
    assert not out[n_fade:].any()
    assert emitter.silent


# --- Leave ------------------------------------------------------------------------------


def test_each_admission_is_for_one_time() -> None:
    # Invariant: what sounds twice is counted twice.
    signal = safe(tone(seconds=0.1))
    emitter = Emitter(signal)
    with pytest.raises(UnsafeError, match="played already"):
        Emitter(signal)
    with pytest.raises(UnsafeError, match="played already"):
        emitter.append(signal, 10_000)
    with pytest.raises(ValueError, match="once"):
        Emitter(safe(tone(seconds=0.1)), repeat=True)


def test_an_admission_grows_old() -> None:
    # Known input: a clock at the limit and past it.
    now = [0.0]
    ledger = MemoryLedger(clock=lambda: now[0])
    signals = [admit(tone(seconds=0.1), sample_rate_hz=RATE_HZ, ledger=ledger) for _ in range(3)]
    now[0] = START_WITHIN_S
    emitter = Emitter(signals[0])
    with pytest.raises(UnsafeError, match="start anew"):
        emitter.append(signals[1], 10_000)
    now[0] = START_WITHIN_S + 0.01
    with pytest.raises(UnsafeError, match="start anew"):
        Emitter(signals[2])


def test_fill_makes_no_arrays() -> None:
    # Invariant: what NumPy allocates while filling, as tracemalloc sees it, is no block.
    import tracemalloc

    emitter = Emitter(safe(tone(seconds=0.1, level=0.02), repeated_s=60.0), repeat=True)
    out = np.zeros((4096, 2), dtype=np.float32)
    emitter.fill(out)
    tracemalloc.start()
    for _ in range(5):
        emitter.fill(out)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 4096


# --- Energy -----------------------------------------------------------------------------


def heard_above_2_khz(stretch: NDArray[np.float64]) -> float:
    """Return the energy of a channel above 2 kHz, by one spectrum of all of it."""
    n = stretch.size
    power = np.abs(np.fft.rfft(stretch)) ** 2
    above = power[np.fft.rfftfreq(n, 1 / RATE_HZ) > 2000]
    return float(2 * above.sum() / n / RATE_HZ)


@settings(deadline=None, max_examples=5, phases=[Phase.explicit, Phase.reuse, Phase.generate])
@given(data=st.data())
def test_no_ten_seconds_hold_more_than_the_cap(data: st.DataObject) -> None:
    # Second method: what sounded over half a minute, filtered in one spectrum, in every window.
    now = [0.0]
    ledger = MemoryLedger(clock=lambda: now[0])
    played = np.zeros(36 * RATE_HZ)
    free_s = 0.0
    while now[0] < 22:
        now[0] += data.draw(st.sampled_from([0.0, 0.0, 0.4, 2.0]))
        seconds = data.draw(st.sampled_from([0.5, 1.5, 3.5]))
        hz = data.draw(st.sampled_from([2600.0, 9000.0, 1000.0]))
        samples = tone(seconds=seconds, hz=hz, level=data.draw(st.sampled_from([0.25, 0.15])))
        try:
            admit(samples, sample_rate_hz=RATE_HZ, ledger=ledger)
        except UnsafeError:
            now[0] += 0.5
            continue
        start_s = max(now[0] + data.draw(st.floats(0, START_WITHIN_S)), free_s)
        if start_s > now[0] + START_WITHIN_S:
            continue
        first = round(start_s * RATE_HZ)
        played[first : first + samples.shape[1]] += samples[0]
        free_s = start_s + seconds
        now[0] = max(now[0], free_s - START_WITHIN_S)
    spectrum = np.fft.rfft(played)
    spectrum[np.fft.rfftfreq(played.size, 1 / RATE_HZ) <= 2000] = 0
    high = np.cumsum(np.fft.irfft(spectrum, played.size) ** 2) / RATE_HZ
    window = round(SHORT_WINDOW_S * RATE_HZ)
    assert (high[window:] - high[:-window]).max() <= SHORT_CAP
