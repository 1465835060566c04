"""Two groups of readings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis.comparison.compare import Snapshot
from analysis.comparison.groups.compare import compare_groups
from analysis.report.comparison.groups import group_lines
from analysis.signals.impulse_response import ImpulseResponse

RATE_HZ = 48_000


def response(
    rng: np.random.Generator, *, gain: float = 1.0, bell_db: float = 0.0
) -> ImpulseResponse:
    """Return a decaying tail of fixed shape with a little noise; a bell at 63 Hz if wanted."""
    shape = np.random.default_rng(1)
    time_s = np.arange(24_000) / RATE_HZ
    samples = shape.standard_normal(24_000) * np.exp(-time_s / 0.05)
    samples[100] += 30
    spectrum = np.fft.rfft(samples)
    frequency_hz = np.fft.rfftfreq(24_000, 1 / RATE_HZ)
    octaves = np.log2(np.maximum(frequency_hz, 1) / 63.1)
    spectrum *= 10 ** (bell_db * np.exp(-0.5 * (octaves / 0.25) ** 2) / 20)
    noisy = gain * np.fft.irfft(spectrum) + gain * 2e-3 * rng.standard_normal(24_000)
    return ImpulseResponse(
        samples=noisy, sample_rate_hz=RATE_HZ, start_s=0.0, noise=np.zeros(0), band_hz=(15, 20_000)
    )


def group(n: int, *, seed: int, gain: float = 1.0, bell_db: float = 0.0, moved_m: float = 0.0):  # type: ignore[no-untyped-def]
    rng = np.random.default_rng(seed)
    return [
        Snapshot(
            left=response(rng, gain=gain, bell_db=bell_db),
            right=response(rng, gain=gain),
            arrival_m=0.005 + moved_m + rng.normal(0, 3e-4),
            arrival_in_room_std_m=3e-4,
            direct_db=0.3 + rng.normal(0, 0.1),
            seat_db=0.2 + rng.normal(0, 0.1),
            features={},
        )
        for _ in range(n)
    ]


@pytest.mark.parametrize("matching", ["own", "pair"])
def test_a_gain_is_no_change(matching: str) -> None:
    # Known input: everything 6 dB louder.
    found = compare_groups(group(3, seed=1), group(3, seed=2, gain=2.0), matching=matching)  # type: ignore[arg-type]
    assert found.gain_db == pytest.approx(20 * np.log10(2), abs=0.05)
    assert found.significant_changes == ()
    assert "nothing differs" in group_lines(found, names=("a", "b"))[0]


def test_what_was_changed_is_named_and_no_other() -> None:
    # Known input: the left loudspeaker 7 mm farther, and 6 dB louder about 63 Hz.
    found = compare_groups(group(3, seed=3), group(3, seed=4, bell_db=6.0, moved_m=0.007))
    changed = {one.name: one for one in found.significant_changes}
    assert changed["arrival"].change == pytest.approx(0.007, abs=0.001)
    assert changed["left at 63 Hz"].change == pytest.approx(5.4, abs=0.6)
    measures = {one.name for one in found.measures}  # The bass of the pair changes with it.
    bands = {f"left at {hz} Hz" for hz in (40, 50, 63, 79, 100)}
    assert set(changed) <= {"arrival", *bands, *measures}
    assert not any("2000" in name for name in changed)


def test_exchanging_the_groups_turns_the_signs() -> None:
    # Invariant.
    one, two = group(2, seed=5), group(3, seed=6, bell_db=3.0)
    there, back = compare_groups(one, two), compare_groups(two, one)
    for first, second in zip(there.changes, back.changes, strict=True):
        assert second.change == pytest.approx(-first.change)
        assert second.std == pytest.approx(first.std)


def test_single_readings_and_missing_sides() -> None:
    # Known input: no repeats, then a silent side.
    found = compare_groups(group(1, seed=7), group(1, seed=8, moved_m=0.007))
    assert [one.name for one in found.significant_changes] == ["arrival"]
    assert np.isnan(found.spread_db).all()
    silent = [replace(group(1, seed=9)[0], right=None)]
    with pytest.raises(ValueError, match="both loudspeakers"):
        compare_groups(silent, group(1, seed=7))
