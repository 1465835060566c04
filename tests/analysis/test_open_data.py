"""The arrival match on measured open data; each test skips where the data isn't there.

- variable-room-pairs (R3VIVAL, CC BY 4.0): stereo pairs at +-30 degrees in a real room,
  time-aligned by their authors, so left minus right is zero; then a known shift is imposed.
- shoebox-echo-12mic (dEchorate, Di Carlo et al. 2021, MIT): one loudspeaker and
  microphones in pairs 40 mm apart, positions known to some millimetres within a pair.
- head-anechoic (Gardner and Martin 1994): a dummy head, mirror-symmetric by construction.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from analysis.pair.arrival import ArrivalMatch, match_arrivals
from analysis.recording.alignment import align_passes
from analysis.recording.responses import average_passes
from analysis.signals.impulse_response import ImpulseResponse
from analysis.signals.programme import Programme
from benchmarks.recorder import record

DATA = Path(__file__).parents[2].parent / "shared" / "data"
RATE_HZ = 48_000
Float = NDArray[np.float64]


def measured_pair(distance_cm: int) -> Float:
    """Return the measured responses of a pair at the centre microphone."""
    folder = DATA / "variable-room-pairs" / "wav"
    if not folder.is_dir():
        pytest.skip(f"the open data set {folder.parent.name} isn't here")
    rows = []
    for azimuth in ("030", "330"):
        path = folder / f"RLRVarAcLab_Absorptive_000_S{azimuth}-{distance_cm}_R1_FRL10cm.wav"
        samples, rate_hz = soundfile.read(path, always_2d=True)
        assert rate_hz == RATE_HZ
        rows.append(samples[:24_000, 6])
    return np.array(rows)


def matched(responses: Float, programme: Programme) -> ArrivalMatch:
    """Return the match of a recording made with these responses, its clock 30 ppm fast."""
    samples = record(
        programme, responses, clock_ppm=30, snr_db=45, rng=np.random.default_rng(1), start_s=0.4
    )
    left, right = average_passes(align_passes(samples, programme), programme)
    assert left is not None
    assert right is not None
    return match_arrivals(left.response, right.response, speed_of_sound_m_s=343.2)


@pytest.mark.parametrize("distance_cm", [150, 200, 300])
def test_aligned_pairs_are_equal_and_shifts_are_found(
    distance_cm: int, programme: Programme
) -> None:
    """Open data: a null within 1 mm, then a shift of 12.3 mm recovered within 0.05 mm."""
    responses = measured_pair(distance_cm)
    null = matched(responses, programme)
    assert null.difference_m == pytest.approx(0, abs=1e-3)
    frequency_hz = np.fft.rfftfreq(2 * responses.shape[1], 1 / RATE_HZ)
    ramp = np.exp(-2j * np.pi * frequency_hz * 12.3e-3 / 343.2)
    shifted = np.array(responses)
    shifted[0] = np.fft.irfft(np.fft.rfft(shifted[0], 2 * shifted.shape[1]) * ramp)[
        : shifted.shape[1]
    ]
    found = matched(shifted, programme)
    assert found.difference_m is not None
    assert null.difference_m is not None
    assert found.difference_m - null.difference_m == pytest.approx(12.3e-3, abs=5e-5)


def test_microphones_forty_millimetres_apart() -> None:
    """Open data: six pairs of microphones, path differences from their positions, within 6 mm."""
    path = DATA / "shoebox-echo-12mic" / "data_rooge.mat"
    if not path.is_file():
        pytest.skip("the open data set shoebox-echo-12mic isn't here")
    from scipy.io import loadmat

    table = loadmat(path)
    impulses = np.squeeze(table["rirs"])
    impulses = impulses if impulses.shape[0] == 12 else impulses.T
    source = np.squeeze(table["src"])
    places = np.squeeze(table["mics"])
    speed_m_s = 345.844
    errors_mm = []
    for first in range(6):
        pair = [
            ImpulseResponse(
                samples=impulses[index],
                sample_rate_hz=RATE_HZ,
                start_s=0.0,
                noise=np.full(RATE_HZ, 1e-6),
                band_hz=(80.0, 20_000.0),
            )
            for index in (first, first + 6)
        ]
        truth_m = float(
            np.linalg.norm(places[:, first] - source)
            - np.linalg.norm(places[:, first + 6] - source)
        )
        found = match_arrivals(*pair, speed_of_sound_m_s=speed_m_s)
        assert found.difference_m is not None
        errors_mm.append((found.difference_m - truth_m) * 1e3)
    assert float(np.abs(errors_mm).max()) < 6


def test_mirrored_ears_hear_mirrored_delays() -> None:
    """Open data: a symmetric head gives zero ahead, and opposite delays from both sides."""
    path = DATA / "head-anechoic" / "MIT_KEMAR_normal_pinna.sofa"
    if not path.is_file():
        pytest.skip("the open data set head-anechoic isn't here")
    sofar = pytest.importorskip("sofar")
    sofa = sofar.read_sofa(str(path), verify=False)

    def delay_m(azimuth_deg: float) -> float:
        place = np.argmin(
            np.abs(sofa.SourcePosition[:, 0] - azimuth_deg) + np.abs(sofa.SourcePosition[:, 1])
        )
        ears = [
            ImpulseResponse(
                samples=sofa.Data_IR[place, ear],
                sample_rate_hz=float(np.squeeze(sofa.Data_SamplingRate)),
                start_s=0.0,
                noise=np.full(40_000, 1e-6),
                band_hz=(100.0, 18_000.0),
            )
            for ear in (0, 1)
        ]
        found = match_arrivals(*ears, speed_of_sound_m_s=343.2)
        assert found.difference_m is not None
        return found.difference_m

    assert delay_m(0.0) == pytest.approx(0, abs=1e-6)
    assert delay_m(20.0) == pytest.approx(-delay_m(340.0), abs=1e-6)
    assert delay_m(20.0) < -0.02
