"""Fractional-octave bands and smoothing, against the standard's values and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.signals.bands import (
    OCTAVE_RATIO,
    band_mean_powers,
    band_powers,
    nominal_label,
    octave_bands,
    smooth,
)

# Published list: ISO 266 nominal third-octave frequencies (second-hand).
NOMINAL = (
    *("20", "25", "31.5", "40", "50", "63", "80", "100", "125", "160", "200", "250", "315"),
    *("400", "500", "630", "800", "1k", "1.25k", "1.6k", "2k", "2.5k", "3.15k", "4k", "5k"),
    *("6.3k", "8k", "10k", "12.5k", "16k", "20k"),
)


@pytest.mark.filterwarnings("ignore")
def test_centres_agree_with_a_reference_library() -> None:
    """Second method: pyfar's fractional octave frequencies (IEC 61260-1)."""
    pyfar = pytest.importorskip("pyfar")
    for fraction in (1, 3):
        nominal, exact = pyfar.dsp.filter.fractional_octave_frequencies(
            num_fractions=fraction, frequency_range=(20, 20e3)
        )
        bands = octave_bands(20, 20e3, bands_per_octave=fraction)
        np.testing.assert_allclose(bands.centre_hz, exact, rtol=1e-9)
        names = [f"{f / 1000:.6g}k" if f >= 1000 else f"{f:.6g}" for f in nominal]
        assert bands.labels == tuple(names)


def test_third_octaves_are_the_ten_steps_of_a_decade() -> None:
    """Published values: 1000 x 10^(n/10) (IEC 61260-1) with the names of ISO 266."""
    bands = octave_bands(19.9, 20e3)
    np.testing.assert_allclose(bands.centre_hz, 1000 * 10.0 ** (np.arange(-17, 14) / 10))
    assert bands.labels == tuple(NOMINAL)


def test_even_fractions_have_an_edge_at_one_kilohertz() -> None:
    """Closed form: IEC 61260-1 eq. for even b, 1000 G^((2x+1)/2b)."""
    bands = octave_bands(900, 1100, bands_per_octave=6)
    assert np.min(np.abs(bands.upper_hz - 1000)) < 1e-9


@pytest.mark.parametrize(
    ("centre_hz", "bands_per_octave", "label"),
    [(31.6227766, 3, "31.5"), (1258.925, 3, "1.25k"), (41.7, 24, "41.7"), (5.3088e3, 24, "5.3k")],
)
def test_labels(centre_hz: float, bands_per_octave: int, label: str) -> None:
    """Published rule: IEC 61260-1 annex E, three digits up to 4, else two (second-hand)."""
    assert nominal_label(centre_hz, bands_per_octave=bands_per_octave) == label


def test_neighbours_share_an_edge_and_whole_bands_stay_inside() -> None:
    """Invariant: no gap, no overlap, nothing outside."""
    bands = octave_bands(700, 8000, whole=True)
    np.testing.assert_allclose(bands.upper_hz[:-1], bands.lower_hz[1:])
    assert bands.lower_hz[0] >= 700
    assert bands.upper_hz[-1] <= 8000
    assert bands.upper_hz[-1] / bands.lower_hz[0] == pytest.approx(
        OCTAVE_RATIO ** (bands.centre_hz.size / 3)
    )


@settings(deadline=None)
@given(st.integers(1, 6), st.integers(2000, 9000), st.integers(0, 2**31))
def test_bands_together_hold_the_power_of_their_range(
    per_octave: int, n_bins: int, seed: int
) -> None:
    """Invariant: bands that tile a range sum to the bins in it, whatever the bins hold."""
    frequency = np.linspace(0, 12000, n_bins)
    power = np.random.default_rng(seed).exponential(size=(2, n_bins))
    bands = octave_bands(50, 10000, bands_per_octave=per_octave)
    spacing = frequency[1]
    low, high = bands.lower_hz[0], bands.upper_hz[-1]
    overlap = np.clip(
        np.minimum(frequency + spacing / 2, high) - np.maximum(frequency - spacing / 2, low),
        0,
        None,
    )
    expected = (power * overlap / spacing).sum(axis=-1)
    np.testing.assert_allclose(band_powers(frequency, power, bands).sum(axis=-1), expected)


def test_flat_spectrum_has_the_same_mean_in_every_band() -> None:
    """Closed form: the mean of a constant, also where a band is narrower than a bin."""
    frequency = np.arange(0, 20001, 20.0)
    bands = octave_bands(30, 16000)
    means = band_mean_powers(frequency, np.full(frequency.size, 0.25), bands)
    np.testing.assert_allclose(means, 0.25)


def test_smoothing_keeps_a_slope() -> None:
    """Closed form: the power mean of f^a is sinh(ah)/(ah) above it, h half the window in ln f."""
    frequency = np.arange(15, 300, 0.05)
    slope_db = 10 * np.log10((frequency / 100) ** -2)
    half = 0.5 * np.log(OCTAVE_RATIO) / 3
    expected = 10 * np.log10(np.sinh(2 * half) / (2 * half))
    inner = (frequency > 20) & (frequency < 250)
    lift = smooth(frequency, slope_db, 1 / 3)[inner] - slope_db[inner]
    np.testing.assert_allclose(lift, expected, atol=1e-3)


def test_smoothing_agrees_with_the_plain_mean_at_every_bin() -> None:
    """Second method: a slow mean, bin by bin, over log frequency."""
    rng = np.random.default_rng(1)
    frequency = np.sort(rng.uniform(20, 300, 400))
    level = rng.normal(0, 5, 400)
    x = np.log(frequency)
    edges = np.concatenate(([1.5 * x[0] - 0.5 * x[1]], (x[1:] + x[:-1]) / 2, [0.0]))
    edges[-1] = 1.5 * x[-1] - 0.5 * x[-2]
    half = 0.5 * np.log(OCTAVE_RATIO) / 6
    smoothed = smooth(frequency, level, 1 / 6)
    for k in range(60, 340, 7):
        low, high = x[k] - half, x[k] + half
        share = np.clip(np.minimum(edges[1:], high) - np.maximum(edges[:-1], low), 0, None)
        mean = np.sum(share * 10 ** (level / 10)) / np.sum(share)
        assert smoothed[k] == pytest.approx(10 * np.log10(mean), abs=1e-9)


def test_no_smoothing_changes_nothing() -> None:
    """Invariant: a window of zero width."""
    frequency = np.arange(15, 300, 0.5)
    level = np.sin(frequency)
    np.testing.assert_allclose(smooth(frequency, level, 0.0), level, atol=1e-6)


def test_refuses_what_has_no_answer() -> None:
    """Known input: bands beyond the spectrum, uneven bins, a zero frequency."""
    frequency = np.arange(0, 1000, 10.0)
    with pytest.raises(ValueError, match="must lie within"):
        band_powers(frequency, frequency, octave_bands(100, 2000))
    with pytest.raises(ValueError, match="evenly spaced"):
        band_powers(np.geomspace(20, 2000, 50), np.ones(50), octave_bands(100, 500))
    with pytest.raises(ValueError, match="start above 0"):
        smooth(frequency, frequency, 1 / 3)
    with pytest.raises(ValueError, match="must rise"):
        smooth(frequency[::-1], frequency, 1 / 3)
    with pytest.raises(ValueError, match="low_hz"):
        octave_bands(0, 100)
