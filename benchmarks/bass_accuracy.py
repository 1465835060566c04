"""How well bass features and decays are told, on modes whose truth is known.

Prints the tables of docs/bass.md: run ``python -m benchmarks.bass_accuracy``. SNR is
the highest peak of the bass over the noise in the spectrum of the whole 1.5 s response.
"""

from __future__ import annotations

import argparse
import math
from collections import Counter
from collections.abc import Callable

import numpy as np
from scipy import signal

from analysis.basics.decibel import amplitude_db
from analysis.bass.curve import BassCurve, bass_curve
from analysis.bass.decay import Decay, band_decays
from analysis.bass.features import find_features
from analysis.signals.impulse_response import ImpulseResponse
from benchmarks.modal_response import ModalResponse, modal_response, random_modes

Maker = Callable[[np.random.Generator], ModalResponse]


def lone(rng: np.random.Generator) -> ModalResponse:
    """Return one mode."""
    return modal_response(
        [rng.uniform(20, 200)], rng.uniform(0.2, 1.2), phase=rng.uniform(0, 2 * math.pi)
    )


def spaced(rng: np.random.Generator) -> ModalResponse:
    """Return modes 8 to 20 Hz apart."""
    return random_modes(rng)


def pair(rng: np.random.Generator) -> ModalResponse:
    """Return two modes 0.5 to 4 Hz apart."""
    first_hz = rng.uniform(30, 150)
    return modal_response(
        [first_hz, first_hz + rng.uniform(0.5, 4)],
        list(rng.uniform(0.3, 1, 2)),
        list(rng.uniform(0.5, 1, 2)),
        list(rng.uniform(0, 2 * math.pi, 2)),
    )


def crowded(rng: np.random.Generator) -> ModalResponse:
    """Return modes as dense as in a living room of some 50 m3, denser with frequency."""
    places = [rng.uniform(20, 30)]
    while places[-1] < 250:
        places.append(places[-1] + rng.exponential(12 * (40 / places[-1]) ** 1.2) + 0.3)
    n_modes = len(places)
    return modal_response(
        places,
        list(rng.uniform(0.3, 0.8, n_modes)),
        list(rng.uniform(0.1, 1, n_modes) * rng.choice([-1, 1], n_modes)),
        list(rng.uniform(0, 0.5, n_modes)),
    )


MAKERS: dict[str, tuple[Maker, int]] = {
    "lone": (lone, 8),
    "8-20 Hz apart": (spaced, 1),
    "pair 0.5-4 Hz": (pair, 6),
    "crowded": (crowded, 1),
}


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rooms", type=int, default=20, help="responses a line, or their sixths")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    print(
        f"{'':16}{'SNR':>5}{'peaks':>7}{'given':>7}{'rms':>8}{'2 sigma':>9}{'between':>9}  withheld"
    )
    for name, (make, factor) in MAKERS.items():
        for snr_db in (60, 40, 25):
            curves = [_curve(make(rng), rng, snr_db) for _ in range(factor * options.rooms)]
            print(f"{name:16}{snr_db:5}{_decay_line(curves)}")
    print(f"\n{'':16}{'SNR':>5}{'listed':>7}{'rms peak':>10}{'rms dip':>10}{'2 sigma':>9}  (Hz)")
    for name in ("8-20 Hz apart", "crowded"):
        for snr_db in (60, 40, 25):
            curves = [_curve(MAKERS[name][0](rng), rng, snr_db) for _ in range(options.rooms)]
            print(f"{name:16}{snr_db:5}{_frequency_line(curves)}")
    print("\nnoise, or a flat system in noise: curves with a feature listed, of all")
    for sound in (0.0, 1.0):
        print(f"  sound {sound:g}: {_false_features(sound, 40 * options.rooms, rng)}")


def _curve(
    model: ModalResponse, rng: np.random.Generator, snr_db: float
) -> tuple[ModalResponse, BassCurve]:
    return model, bass_curve(model.impulse_response(rng, noise=model.noise_for_snr(snr_db)))


def _decay_line(curves: list[tuple[ModalResponse, BassCurve]]) -> str:
    reasons: Counter[str] = Counter()
    rows, n_peaks = [], 0
    for model, curve in curves:
        peaks_hz = [f.frequency_hz for f in find_features(curve) if f.kind == "peak"]
        n_peaks += len(peaks_hz)
        for decay in band_decays(curve, peaks_hz):
            if decay.decay_s is None:
                reasons[str(decay.reason)] += 1
            else:
                rows.append(_errors(model, decay))
    relative, z, outside = np.array(rows).T
    rms = math.sqrt(np.mean(relative**2))
    share = np.mean(np.abs(z) < 2), np.mean(outside < 2)
    withheld = ", ".join(f"{name} {count}" for name, count in reasons.items())
    return f"{n_peaks:7}{len(rows):7}{rms:8.1%}{share[0]:9.1%}{share[1]:9.1%}  {withheld}"


def _errors(model: ModalResponse, decay: Decay) -> tuple[float, float, float]:
    """Return the error re the nearest mode, in sigmas, and in sigmas outside the overlapping."""
    assert decay.decay_s is not None
    assert decay.decay_std_s is not None
    distance_hz = np.abs(model.frequency_hz - decay.frequency_hz)
    nearest_s = model.decay_s[np.argmin(distance_hz)]
    near = (distance_hz < 2.2 / model.decay_s) | (distance_hz == distance_hz.min())
    low_s, high_s = model.decay_s[near].min(), model.decay_s[near].max()
    outside_s = max(low_s - decay.decay_s, decay.decay_s - high_s, 0.0)
    error_s = decay.decay_s - nearest_s
    return error_s / nearest_s, error_s / decay.decay_std_s, outside_s / decay.decay_std_s


def _frequency_line(curves: list[tuple[ModalResponse, BassCurve]]) -> str:
    at_hz = np.arange(15.0, 300.0, 0.02)
    errors: dict[str, list[float]] = {"peak": [], "dip": []}
    within = []
    for model, curve in curves:
        level = amplitude_db(model.transfer(at_hz))
        for feature in find_features(curve):
            sign = 1 if feature.kind == "peak" else -1
            truth_hz = at_hz[signal.find_peaks(sign * level, prominence=1)[0]]
            error_hz = float(np.min(np.abs(truth_hz - feature.frequency_hz)))
            errors[feature.kind].append(error_hz)
            within.append(error_hz < 2 * feature.frequency_std_hz)
    rms = [math.sqrt(np.mean(np.square(values))) for values in errors.values()]
    return f"{len(within):7}{rms[0]:10.3f}{rms[1]:10.3f}{np.mean(within):9.1%}"


def _false_features(sound: float, n_trials: int, rng: np.random.Generator) -> str:
    n_samples, n_listed = 24000, 0
    for trial in range(n_trials):
        rms = 10 ** (-(trial % 21) / 20) / math.sqrt(n_samples)
        samples, noise = rms * rng.standard_normal((2, n_samples))
        samples[240] += sound
        response = ImpulseResponse(
            samples=samples,
            sample_rate_hz=8000.0,
            start_s=0.0,
            noise=noise,
            band_hz=(15.0, 3900.0),
        )
        n_listed += bool(find_features(bass_curve(response)))
    return f"{n_listed} of {n_trials}"


if __name__ == "__main__":
    main()
