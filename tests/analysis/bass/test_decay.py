"""Decay times against planted modes, a reference library and image-source rooms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis.bass.curve import bass_curve
from analysis.bass.decay import LARGEST_STD_SHARE, add_decays, band_decays
from analysis.bass.features import find_features
from analysis.signals.impulse_response import ImpulseResponse
from benchmarks.modal_response import ModalResponse, modal_response, random_modes


def _decays(model: ModalResponse, rng: np.random.Generator, snr_db: float, at_hz=None):
    noise = model.noise_for_snr(snr_db)
    curve = bass_curve(model.impulse_response(rng, noise=noise))
    if at_hz is None:
        at_hz = [f.frequency_hz for f in find_features(curve) if f.kind == "peak"]
    return band_decays(curve, at_hz)


@pytest.mark.parametrize("frequency_hz", [22.0, 47.3, 90.0, 180.0])
@pytest.mark.parametrize("decay_s", [0.25, 0.5, 1.2])
def test_lone_mode(frequency_hz: float, decay_s: float) -> None:
    """Known input: one damped mode 60 dB above the noise, unless shorter than can be told."""
    model = modal_response([frequency_hz], decay_s, phase=1.0)
    (decay,) = _decays(model, np.random.default_rng(1), 60.0, [frequency_hz])
    if decay.shortest_s > decay_s:
        assert decay_s < 6 / frequency_hz  # six periods: no filter tells less
        assert decay.decay_s is None
        assert decay.reason in ("too short", "too weak")
        return
    assert decay.decay_s == pytest.approx(decay_s, rel=0.015)
    assert decay.frequency_hz == pytest.approx(frequency_hz, abs=0.05)
    assert decay.n_modes == 1


@pytest.mark.parametrize(("snr_db", "largest_rms"), [(60.0, 0.02), (40.0, 0.12), (25.0, 0.25)])
def test_neighbours_and_noise(snr_db: float, largest_rms: float) -> None:
    """Known input: modes 8 to 20 Hz apart; the planted decay within 2 sigma in 90 % or more."""
    rng = np.random.default_rng(2)
    z, relative, n_all = [], [], 0
    for _ in range(8):
        model = random_modes(rng)
        for decay in _decays(model, rng, snr_db):
            n_all += 1
            if decay.decay_s is not None:
                nearest = np.argmin(np.abs(model.frequency_hz - decay.frequency_hz))
                error_s = decay.decay_s - model.decay_s[nearest]
                z.append(error_s / decay.decay_std_s)
                relative.append(error_s / model.decay_s[nearest])
    assert len(z) > 0.6 * n_all
    assert np.mean(np.abs(z) < 2) > 0.9
    assert math.sqrt(np.mean(np.square(relative))) < largest_rms


def test_beating_pair_is_told_apart_or_withheld() -> None:
    """Known input: two modes 0.5 to 4 Hz apart.

    What is given lies between their decays, or within 2 sigma of either, in 90 % or
    more: a beat's slope would not.
    """
    rng = np.random.default_rng(3)
    good = []
    for _ in range(40):
        first_hz = rng.uniform(30, 150)
        pair_s = rng.uniform(0.3, 1.0, 2)
        model = modal_response(
            [first_hz, first_hz + rng.uniform(0.5, 4)],
            list(pair_s),
            list(rng.uniform(0.5, 1, 2)),
            list(rng.uniform(0, 2 * math.pi, 2)),
        )
        for decay in _decays(model, rng, 45.0):
            if decay.decay_s is not None:
                reach = 2 * decay.decay_std_s
                good.append(pair_s.min() - reach < decay.decay_s < pair_s.max() + reach)
    assert len(good) > 20
    assert np.mean(good) > 0.9


def test_shorter_than_the_filter_is_withheld() -> None:
    """Known input: a pulse without a tail, and a mode of 40 ms between close neighbours."""
    rng = np.random.default_rng(4)
    model = modal_response([60.0, 64.0, 68.0], [1.0, 0.04, 1.0], [0.02, 1.0, 0.02])
    (decay,) = _decays(model, rng, 60.0, [64.0])
    assert decay.decay_s is None or decay.decay_s > decay.shortest_s
    pulse = np.zeros(72000)
    pulse[480] = 1.0
    noise = 1e-5 * rng.standard_normal((2, pulse.size))
    response = ImpulseResponse(
        samples=pulse + noise[0], sample_rate_hz=48000.0, start_s=0.0, noise=noise[1],
        band_hz=(15.0, 20000.0),
    )  # fmt: skip
    (decay,) = band_decays(bass_curve(response), [60.0])
    assert decay.decay_s is None
    assert decay.reason is not None


def test_weak_is_withheld() -> None:
    """Known input: noise alone."""
    rng = np.random.default_rng(5)
    noise = rng.standard_normal((2, 72000))
    response = ImpulseResponse(
        samples=noise[0], sample_rate_hz=48000.0, start_s=0.0, noise=noise[1],
        band_hz=(15.0, 20000.0),
    )  # fmt: skip
    decays = band_decays(bass_curve(response), list(np.arange(20.0, 300.0, 10.0)))
    given = [decay for decay in decays if decay.decay_s is not None]
    assert len(given) <= 2
    assert all(d.decay_std_s <= LARGEST_STD_SHARE * d.decay_s for d in given)


def test_features_get_their_decays() -> None:
    """Known input: peaks get the decay of their band, dips none."""
    rng = np.random.default_rng(6)
    model = modal_response([35.0, 60.0], [0.7, 0.4], phase=[0.0, 2.0])
    curve = bass_curve(model.impulse_response(rng, noise=model.noise_for_snr(60)))
    features = add_decays(find_features(curve), curve)
    peaks = [f for f in features if f.kind == "peak"]
    assert [f.decay_s for f in peaks] == pytest.approx([0.7, 0.4], rel=0.02)
    assert all(f.decay_s is None and f.decay_std_s is None for f in features if f.kind == "dip")


@pytest.mark.parametrize("decay_s", [0.3, 0.6, 1.0])
def test_as_pyrato(decay_s: float) -> None:
    """Reference library: pyrato's noise-compensated decay curve and T20 of a lone mode."""
    pyfar = pytest.importorskip("pyfar")
    pyrato = pytest.importorskip("pyrato")
    model = modal_response([60.0], decay_s, sample_rate_hz=8000.0)
    response = model.impulse_response(
        np.random.default_rng(7), noise=model.noise_for_snr(55), duration_s=2.0
    )
    signal = pyfar.Signal(response.samples[80:], 8000)
    curve = pyrato.edc.energy_decay_curve_chu_lundeby(signal, time_shift=False)
    theirs = float(pyrato.parameters.reverberation_time_linear_regression(curve, T="T20")[0])
    (ours,) = band_decays(bass_curve(response), [60.0])
    assert ours.decay_s == pytest.approx(theirs, rel=0.02)


def test_image_source_room() -> None:
    """Second method: the half-power width, T = 2.2/B (Kuttruff, sec. 3.1), and a closed form.

    The room is rir-generator's. Its image sources carry beta a reflection; along one axis
    that makes an axial mode of length L decay by c ln(1/beta)/L nepers a second. The other
    two pairs of walls take a little more, so the decay is somewhat shorter than that.
    """
    rir_generator = pytest.importorskip("rir_generator")
    rate_hz, size_m, beta = 4000.0, (3.0, 4.6, 2.3), 0.9
    room = rir_generator.generate(
        c=343.0, fs=rate_hz, r=[(1.05, 4.2, 0.92)], s=(0.5, 0.5, 0.4), L=size_m,
        beta=[beta] * 6, nsample=round(0.55 * rate_hz), hp_filter=False,
    )[:, 0]  # fmt: skip
    rng = np.random.default_rng(8)
    rms = np.max(np.abs(np.fft.rfft(room))) * 1e-3 / math.sqrt(room.size)
    noise = rms * rng.standard_normal((2, room.size))
    curve = bass_curve(
        ImpulseResponse(
            samples=room + noise[0], sample_rate_hz=rate_hz, start_s=0.0, noise=noise[1],
            band_hz=(15.0, 1900.0),
        )
    )  # fmt: skip
    first = next(f for f in add_decays(find_features(curve), curve) if f.kind == "peak")
    assert first.frequency_hz == pytest.approx(343.0 / 2 / 4.6, abs=0.3)
    axial_s = 3 * math.log(10) / (343.0 * math.log(1 / beta) / 4.6)
    assert 0.8 * axial_s < first.decay_s < 1.03 * axial_s
    assert first.decay_s == pytest.approx(2.2 / first.width_hz, rel=0.15)
