"""The envelope of a narrow band, against a decay that is known."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.bass.curve import BassCurve, bass_curve
from analysis.bass.envelope import band_envelope
from benchmarks.modal_response import modal_response


def curve(decay_s: float, *, noise: float = 1e-5) -> BassCurve:
    model = modal_response([60.0], decay_s)
    return bass_curve(model.impulse_response(np.random.default_rng(4), noise=noise))


@pytest.mark.parametrize("decay_s", [0.3, 0.6, 1.2])
def test_the_envelope_falls_as_the_mode_decays(decay_s: float) -> None:
    # Closed form: a lone mode falls by 60 dB in its decay time, in any band around it.
    envelope = band_envelope(curve(decay_s), 60.0)
    used = (envelope.time_s > envelope.fit_from_s) & (envelope.level_db > -40)
    slope = np.polyfit(envelope.time_s[used], envelope.level_db[used], 1)[0]
    assert -60 / slope == pytest.approx(decay_s, rel=0.03)


def test_the_line_of_the_right_decay_lies_on_the_envelope() -> None:
    # Closed form, as above.
    envelope = band_envelope(curve(0.6), 60.0)
    time_s, level_db = envelope.decay_line(0.6)
    middle_s = time_s.mean()
    on_line = np.interp(middle_s, time_s, level_db)
    assert on_line == pytest.approx(np.interp(middle_s, envelope.time_s, envelope.level_db), abs=1)
    assert level_db[1] == pytest.approx(envelope.noise_db, abs=1)


def test_the_noise_lies_where_the_envelope_ends() -> None:
    # Second method: the level of the late band, which is noise alone.
    envelope = band_envelope(curve(0.2, noise=1e-3), 60.0)
    late = envelope.level_db[envelope.time_s > 0.6]
    assert 10 * np.log10(np.mean(10 ** (late / 10))) == pytest.approx(envelope.noise_db, abs=4)


def test_nonsense_is_refused() -> None:
    # Bad argument: outside the bass, no time.
    with pytest.raises(ValueError, match="frequency_hz 1000"):
        band_envelope(curve(0.5), 1000.0)
    with pytest.raises(ValueError, match="decay_s 0"):
        band_envelope(curve(0.5), 60.0).decay_line(0)
