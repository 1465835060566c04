"""The figure of the decays."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from matplotlib.figure import Figure

from analysis.bass.bass import Bass
from analysis.plots.bass.decay import N_PEAKS, decay_figure, strongest_peaks


def test_it_obeys_the_rules(before: Any, check_figure: Callable[[Figure], None]) -> None:
    # Known input: with peaks, and with none.
    check_figure(decay_figure(before.bass))
    flat = replace(before.bass.both, features=())
    check_figure(decay_figure(replace(before.bass, both=flat)))


def test_peaks_with_a_decay_time_come_first(before: Any) -> None:
    # Invariant: as many as fit, by rising frequency.
    peaks = strongest_peaks(before.bass.both)
    known = [
        one.feature
        for one in before.bass.both.features
        if one.feature.kind == "peak" and one.feature.decay_s is not None
    ]
    assert len(peaks) <= N_PEAKS
    assert sum(peak.decay_s is not None for peak in peaks) == min(len(known), N_PEAKS)
    frequencies_hz = [peak.frequency_hz for peak in peaks]
    assert frequencies_hz == sorted(frequencies_hz)


def test_the_line_falls_by_60_db_in_the_decay_time(before: Any) -> None:
    # Closed form: slope of the drawn line against the fitted time.
    figure = decay_figure(before.bass)
    n_lines = 0
    for ax, peak in zip(figure.axes, strongest_peaks(before.bass.both), strict=True):
        if peak.decay_s is None:
            assert "not told" in ax.get_title(loc="left")
            continue
        line = next(one for one in ax.get_lines()[2:] if len(np.asarray(one.get_xdata())) == 2)
        time_s, level_db = np.asarray(line.get_xdata()), np.asarray(line.get_ydata())
        assert np.diff(level_db)[0] / np.diff(time_s)[0] == pytest.approx(-60 / peak.decay_s)
        n_lines += 1
    assert n_lines


def test_nothing_heard_is_refused() -> None:
    # Bad argument.
    with pytest.raises(ValueError, match="no curve"):
        decay_figure(Bass(left=None, right=None, both=None))
