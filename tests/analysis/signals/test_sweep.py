"""The sweep and the programme against scipy and published harmonic leads."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal

from analysis.signals.programme import Programme
from analysis.signals.sweep import Sweep, sweep_amplitude, sweep_samples

RATE_HZ = 48_000


def test_sweep_is_scipys_logarithmic_chirp() -> None:
    """Reference library: scipy.signal.chirp, logarithmic, a quarter turn behind."""
    sweep = Sweep(start_hz=20, stop_hz=20_000, duration_s=2, level_dbfs=-20)
    samples = sweep_samples(sweep, sample_rate_hz=RATE_HZ)
    time_s = np.arange(samples.size) / RATE_HZ
    chirp = scipy.signal.chirp(time_s, 20, 2, 20_000, method="logarithmic", phi=-90)
    assert samples == pytest.approx(chirp * sweep_amplitude(sweep, time_s), abs=1e-9)


def test_harmonics_lead_by_published_times() -> None:
    """Published figures: 20 Hz to 6 kHz in 4 s leads 0.486 s and 0.770 s (Farina's law)."""
    sweep = Sweep(start_hz=20, stop_hz=6000, duration_s=4, level_dbfs=-20)
    assert sweep.growth_s == pytest.approx(0.7013, abs=5e-5)
    assert sweep.harmonic_lead_s(2) == pytest.approx(0.486, abs=5e-4)
    assert sweep.harmonic_lead_s(3) == pytest.approx(0.770, abs=5e-4)


def test_peak_is_the_level_and_ends_are_silent() -> None:
    """Known input: level -20 dBFS is 0.1 of full scale; the fades end at zero."""
    sweep = Sweep(start_hz=15, stop_hz=22_000, duration_s=6, level_dbfs=-20)
    samples = sweep_samples(sweep, sample_rate_hz=RATE_HZ)
    assert np.abs(samples).max() == pytest.approx(0.1, rel=1e-3)
    assert np.abs(samples[:20]).max() < 1e-6
    assert np.abs(samples[-20:]).max() < 1e-3


def test_top_octave_falls_by_the_taper() -> None:
    """Known input: 6 dB from one octave below the end to the end, before the fade."""
    sweep = Sweep(start_hz=20, stop_hz=20_000, duration_s=5, level_dbfs=0, top_taper_db=6)
    level_db = 20 * np.log10(sweep_amplitude(sweep, sweep.time_at(np.array([9_990.0, 19_000.0]))))
    assert level_db[0] == pytest.approx(0, abs=0.01)
    assert -6.1 < level_db[1] < -5.5


def test_stretched_clock_is_the_sweep_at_other_times() -> None:
    """Closed form: a recorder 100 ppm fast sees t seconds of sweep after 1.0001 t."""
    sweep = Sweep(start_hz=20, stop_hz=20_000, duration_s=1, level_dbfs=0)
    ratio = 1.0001
    stretched = sweep_samples(sweep, sample_rate_hz=RATE_HZ, clock_ratio=ratio)
    plain = sweep_samples(sweep, sample_rate_hz=RATE_HZ * ratio)
    n_both = min(plain.size, stretched.size)
    assert stretched[:n_both] == pytest.approx(plain[:n_both], abs=1e-6)


def test_both_sides_have_one_mean_time() -> None:
    """Invariant: in L R R L a constant drift cancels in left minus right."""
    sweep = Sweep(start_hz=15, stop_hz=22_000, duration_s=6, level_dbfs=-20)
    programme = Programme(
        sweep=sweep, order="LRRL", sample_rate_hz=RATE_HZ, lead_in_s=1, tail_s=1.5
    )
    starts = programme.starts_s
    assert starts[0] + starts[3] == pytest.approx(starts[1] + starts[2], abs=1e-12)
    gaps = np.diff(starts)
    assert gaps[0] == pytest.approx(gaps[2])
    assert gaps[1] > gaps[0]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"start_hz": 100.0, "stop_hz": 50.0}, "below stop"),
        ({"duration_s": 0.0}, "greater than zero"),
        ({"level_dbfs": 1.0}, "must not lie above 0"),
        ({"top_taper_db": -1.0}, "top taper"),
    ],
)
def test_nonsense_is_refused(changes: dict[str, float], words: str) -> None:
    """Known input: each impossible value has its own sentence."""
    values = {"start_hz": 20.0, "stop_hz": 20_000.0, "duration_s": 1.0, "level_dbfs": -20.0}
    with pytest.raises(ValueError, match=words):
        Sweep(**(values | changes))


def test_sweep_above_nyquist_is_refused() -> None:
    """Known input: 24 kHz is half of 48 kHz."""
    sweep = Sweep(start_hz=20, stop_hz=24_000, duration_s=1, level_dbfs=-20)
    with pytest.raises(ValueError, match="half the sampling"):
        sweep_samples(sweep, sample_rate_hz=RATE_HZ)


@pytest.mark.parametrize(
    ("changes", "words"),
    [({"order": "LX"}, "letters L and R"), ({"order": ""}, "letters"), ({"tail_s": -1.0}, "tail")],
)
def test_nonsense_programmes_are_refused(changes: dict[str, object], words: str) -> None:
    """Known input."""
    sweep = Sweep(start_hz=20, stop_hz=20_000, duration_s=1, level_dbfs=-20)
    values: dict[str, object] = {
        "sweep": sweep,
        "order": "LR",
        "sample_rate_hz": RATE_HZ,
        "lead_in_s": 1.0,
        "tail_s": 1.0,
    }
    with pytest.raises(ValueError, match=words):
        Programme(**(values | changes))  # type: ignore[arg-type]
