"""The figure of before and after."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.figure import Figure

from analysis.comparison.compare import Comparison
from analysis.plots.comparison import comparison_figure


def test_it_obeys_the_rules(
    small: Comparison, large: Comparison, check_figure: Callable[[Figure], None]
) -> None:
    # Known input: few changes and many, and no arrival.
    check_figure(comparison_figure(small))
    check_figure(comparison_figure(large))
    check_figure(comparison_figure(replace(small, arrival=None)))


def test_the_gain_is_taken_out(small: Comparison) -> None:
    # Known input: the left loudspeaker never moved, so both curves lie on each other.
    ax = comparison_figure(small).axes[0]
    curves = [
        np.asarray(line.get_ydata(), dtype=float)
        for line in ax.get_lines()
        if len(np.asarray(line.get_xdata())) > 100
    ]
    assert len(curves) == 4
    assert np.median(np.abs(curves[1] - curves[3])) < 0.05
    texts = [text.get_text() for text in ax.figure.legends[0].get_texts()]
    assert texts == ["before", "after, gain of +3.0 dB taken out"]


def test_the_arrival_has_bars_of_two_sigma(small: Comparison) -> None:
    # Closed form: twice the in-room uncertainty of one reading, to both sides.
    assert small.arrival is not None
    ax = comparison_figure(small).axes[-1]
    ends = [path for bar in ax.collections for path in bar.get_segments()]  # type: ignore[attr-defined]
    lengths = [float(np.ptp(np.asarray(end)[:, 0])) for end in ends]
    expected_mm = 4 * small.arrival.counted_std / np.sqrt(2) * 1e3
    assert lengths == pytest.approx([expected_mm] * 2)


def test_nothing_to_draw_is_refused(small: Comparison) -> None:
    # Bad argument.
    with pytest.raises(ValueError, match="neither"):
        comparison_figure(replace(small, curves={}, arrival=None))
