"""Limits on what is made to be played."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from numpy.typing import NDArray

from measure.errors import UnsafeError
from measure.safety.limits import (
    CAP,
    CAP_DBFS,
    SAFE_LEVEL_DBFS,
    SafeSignal,
    admit,
    cautions,
    require_safe_level,
)
from measure.safety.treble_ledger import MemoryLedger
from measure.sound.stimulus import make_programme, programme_samples

RATE_HZ = 48_000


def test_louder_than_safe_needs_its_flag() -> None:
    require_safe_level(SAFE_LEVEL_DBFS, louder=False)
    require_safe_level(0.0, louder=True)
    with pytest.raises(UnsafeError, match="--louder-than-safe"):
        require_safe_level(SAFE_LEVEL_DBFS + 0.1, louder=False)


@pytest.mark.parametrize("level_dbfs", [0.1, float("nan"), float("inf")])
def test_no_flag_allows_more_than_full_scale(level_dbfs: float) -> None:
    with pytest.raises(UnsafeError, match="above full scale"):
        require_safe_level(level_dbfs, louder=True)


def test_the_cautions_name_what_can_be_hurt() -> None:
    # Known input: the file that ships with the package.
    text = cautions().lower()
    for word in ("ears", "tweeters", "pets", "neighbours", "volume"):
        assert word in text
    assert max(map(len, text.splitlines())) <= 88


# --- What passes ------------------------------------------------------------------------


def swept(
    level_dbfs: float,
    *,
    duration_s: float = 6.0,
    start_hz: float = 15.0,
    order: str = "LRRL",
    tail_s: float = 2.0,
    rate_hz: int = RATE_HZ,
) -> NDArray[np.float64]:
    """Return a programme's samples as `measure.sound.stimulus` makes them."""
    programme = make_programme(
        start_hz=start_hz,
        stop_hz=20_000 if rate_hz < RATE_HZ else 22_000,
        duration_s=duration_s,
        level_dbfs=level_dbfs,
        rate_hz=rate_hz,
        order=order,
        tail_s=tail_s,
    )
    return programme_samples(programme)


def made(samples: NDArray[np.generic], *, rate_hz: int = RATE_HZ, **options: float) -> SafeSignal:
    return admit(samples, sample_rate_hz=rate_hz, ledger=MemoryLedger(), **options)


@pytest.mark.parametrize("level_dbfs", [SAFE_LEVEL_DBFS, CAP_DBFS])
@pytest.mark.parametrize(
    ("rate_hz", "duration_s", "order"),
    [(44_100, 6.0, "LRRL"), (48_000, 6.0, "LRRL"), (96_000, 0.1, "LRRL"), (192_000, 4.0, "LR")],
)
def test_programmes_pass_unchanged(
    level_dbfs: float, rate_hz: int, duration_s: float, order: str
) -> None:
    # Invariant: what is played is what the sheet describes, to a 32-bit rounding.
    samples = swept(level_dbfs, duration_s=duration_s, order=order, rate_hz=rate_hz)
    signal = made(samples, rate_hz=rate_hz)
    assert np.abs(signal.samples - samples).max() < 1e-7
    assert not signal.samples.flags.writeable
    assert signal.duration_s == samples.shape[1] / rate_hz


def test_short_sweeps_pass_repeated_for_minutes() -> None:
    # Known input: left, right, left of 0.1 s each, again and again, and what it adds up to:
    # each sweep's share above 2 kHz by its formula, its top octave tapered.
    pause_s, level_dbfs = 0.2, -26.0
    samples = swept(level_dbfs, duration_s=0.1, start_hz=1000, order="LRL", tail_s=pause_s)
    samples = samples[:, round(0.9 * RATE_HZ) :]
    signal = made(samples, repeated_s=180.0)
    power = 10 ** (level_dbfs / 10) / 2
    octaves = np.log2(22_000 / 1000)
    flat, top = np.log2(22_000 / 2000) - 1, 0.52
    each = power * 0.1 * (flat + top) / octaves
    n_repeats = 180 * RATE_HZ / samples.shape[1]
    left, right = signal.admission.entry.energy.sum(axis=1)
    assert right == pytest.approx(each * n_repeats, rel=0.04)
    assert left == pytest.approx(2 * right, rel=0.02)


def test_a_programme_of_long_loud_sweeps_must_be_quieter() -> None:
    # Closed form: 3.46 of 10.5 octaves of 20 s at the peak cap are 0.2 FS² s, in 7 s.
    with pytest.raises(UnsafeError, match="lower level"):
        made(swept(CAP_DBFS, duration_s=20.0))
    made(swept(SAFE_LEVEL_DBFS, duration_s=20.0))


# --- What doesn't -----------------------------------------------------------------------


def tone(hz: float, *, level: float, seconds: float = 1.5) -> NDArray[np.float64]:
    """Return a tone on both sides that fades in and out."""
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    edge = np.clip(np.minimum(time_s, time_s[::-1]) / 0.1, 0, 1)
    return np.tile(level * np.sin(2 * np.pi * hz * time_s) * edge, (2, 1))


def test_a_peak_above_the_cap_is_refused_and_rounding_is_not() -> None:
    samples = tone(500, level=0.1)
    for peak, fine in ((CAP * (1 + 1e-7), True), (-CAP, True), (CAP * 1.001, False)):
        samples[1, 30_000] = peak
        if fine:
            assert np.abs(made(samples).samples).max() == np.float32(CAP)
            continue
        with pytest.raises(UnsafeError, match="cap of -12 dBFS"):
            made(samples)


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf, 1e300])
def test_what_is_no_level_is_refused(value: float) -> None:
    samples = tone(500, level=0.1)
    samples[0, 1234] = value
    with pytest.raises(UnsafeError, match="finite"):
        made(samples)


def test_an_rms_above_the_cap_is_refused() -> None:
    # Closed form: a sine at the peak cap has -15.0 dBFS, a square wave -12.
    loud = tone(500, level=CAP)
    made(loud)
    square = CAP * np.sign(loud) * np.minimum(np.abs(loud) * 50, 1)
    with pytest.raises(UnsafeError, match="RMS"):
        made(square)


@pytest.mark.parametrize(("hz", "level"), [(0.5, 0.05), (5.0, 0.02), (9.0, 0.2)])
def test_what_lies_below_10_hz_is_refused(hz: float, level: float) -> None:
    with pytest.raises(UnsafeError, match="below 10 Hz"):
        made(tone(hz, level=level, seconds=4.0))


def test_dc_is_refused_also_where_only_repeats_make_it() -> None:
    # Known input: a raised cosine of 0.1 s, whose mean is half its peak.
    bump = np.zeros((2, RATE_HZ // 10))
    bump[:] = 0.011 * (1 - np.cos(2 * np.pi * np.arange(RATE_HZ // 10) / (RATE_HZ // 10)))
    made(bump)
    with pytest.raises(UnsafeError, match="below 10 Hz"):
        made(bump, repeated_s=10.0)


@pytest.mark.parametrize("end", [0, -1])
def test_a_step_at_either_end_is_refused(end: int) -> None:
    samples = tone(1000, level=0.2)
    cut = samples[:, 24_012:] if end == 0 else samples[:, :48_012]
    with pytest.raises(UnsafeError, match="step"):
        made(cut)


@pytest.mark.parametrize("rate_hz", [8000, 44_099, 192_001])
def test_other_rates_are_refused(rate_hz: int) -> None:
    with pytest.raises(UnsafeError, match="sampling frequency"):
        made(tone(1000, level=0.1), rate_hz=rate_hz)


@pytest.mark.parametrize(
    "samples",
    [np.zeros(10), np.zeros((1, 10)), np.zeros((2, 0)), np.zeros((2, 3), complex), [["a"], ["b"]]],
)
def test_other_shapes_are_an_error(samples: NDArray[np.generic]) -> None:
    with pytest.raises(ValueError, match="must be"):
        made(samples)


@pytest.mark.parametrize("repeated_s", [0.1, -1.0, np.nan, np.inf])
def test_a_loop_must_end(repeated_s: float) -> None:
    with pytest.raises(ValueError, match="not for ever"):
        made(tone(1000, level=0.1), repeated_s=repeated_s)


def test_a_refusal_for_heat_says_how_long_to_wait() -> None:
    # Known input: a tone that fills the window, and its second time.
    now = [0.0]
    ledger = MemoryLedger(clock=lambda: now[0])
    loud = tone(5000, level=CAP, seconds=3.5)
    admit(loud, sample_rate_hz=RATE_HZ, ledger=ledger)
    with pytest.raises(UnsafeError, match=r"wait \d+ s") as caught:
        admit(loud, sample_rate_hz=RATE_HZ, ledger=ledger)
    now[0] += float(str(caught.value).split("wait ")[1].split(" ")[0])
    admit(loud, sample_rate_hz=RATE_HZ, ledger=ledger)


def test_what_was_not_played_is_given_back_once_and_then_cannot_be() -> None:
    # Known input: a tone that fills the window, never begun; the second call gives nothing.
    ledger = MemoryLedger(clock=lambda: 0.0)
    loud = tone(5000, level=CAP, seconds=3.5)
    signal = admit(loud, sample_rate_hz=RATE_HZ, ledger=ledger)
    signal.admission.give_back(played_s=0.0)
    with pytest.raises(UnsafeError, match="admitted anew"):
        signal.admission.spend()
    admit(loud, sample_rate_hz=RATE_HZ, ledger=ledger)
    signal.admission.give_back(played_s=0.0)
    with pytest.raises(UnsafeError, match="wait"):
        admit(loud, sample_rate_hz=RATE_HZ, ledger=ledger)


def test_a_signal_cannot_be_changed_or_made_around_the_ledger() -> None:
    # Invariant: neither the record nor its samples can be changed, nor copied uncounted.
    signal = made(tone(1000, level=0.1))
    with pytest.raises(dataclasses.FrozenInstanceError):
        signal.samples = signal.samples * 2  # type: ignore[misc]
    with pytest.raises(ValueError, match="read-only"):
        signal.samples[0, 0] = 1.0
    with pytest.raises((TypeError, ValueError), match="ledger"):
        dataclasses.replace(signal, repeated_s=9.0)
