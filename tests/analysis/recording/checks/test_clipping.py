"""Flat tops: cut-off waves are found, whole crests are not, however coarse the rounding."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.recording.alignment import align_passes
from analysis.recording.checks.clipping import check_clipping, find_clipping
from analysis.signals.programme import Programme
from benchmarks.recorder import programme_samples, record

RATE_HZ = 48_000


def recorded(programme: Programme, responses: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return a recording that reaches 0.5."""
    samples = record(programme, responses, snr_db=50, rng=np.random.default_rng(2), start_s=0.3)
    return 0.5 * samples / float(np.abs(samples).max())


@pytest.mark.parametrize("bits", [8, 16, 24])
def test_whole_crests_pass(
    programme: Programme, room_responses: NDArray[np.float64], bits: int
) -> None:
    """Known input: rounding makes plateaus, not flat tops; nor does the bare sweep."""
    bare = programme_samples(programme)[0]
    for samples in (recorded(programme, room_responses), bare):
        rounded = np.round(samples * 2 ** (bits - 1)) / 2 ** (bits - 1)
        found = find_clipping(rounded, RATE_HZ, align_passes(samples, programme), programme)
        assert found.n_runs == 0
        assert check_clipping(found).verdict == "pass"


@pytest.mark.parametrize("limit", [0.4, 0.2])
def test_cut_off_waves_are_found_with_what_was_played(
    programme: Programme, room_responses: NDArray[np.float64], limit: float
) -> None:
    """Known input: clipped at a level below the peak."""
    samples = recorded(programme, room_responses)
    clipped = np.clip(samples, -limit, limit)
    found = find_clipping(clipped, RATE_HZ, align_passes(clipped, programme), programme)
    assert found.n_runs > 3
    assert found.level_dbfs == pytest.approx(20 * np.log10(limit), abs=0.01)
    assert found.band_hz is not None
    assert check_clipping(found).verdict == "fail"
