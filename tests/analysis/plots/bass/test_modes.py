"""The figure of the predicted modes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure

from analysis.bass.bass import Bass
from analysis.plots.bass.modes import modes_figure
from analysis.room.prediction import CURVES


def bars(figure: Figure, panel: int, which: int) -> list[tuple[float, float]]:
    """Return frequency and length of the bars of one colour in a panel."""
    collection = figure.axes[panel].collections[which]
    assert isinstance(collection, LineCollection)
    return [(float(path[0, 0]), float(path[1, 1])) for path in collection.get_segments()]


def test_it_obeys_the_rules(before: Any, check_figure: Callable[[Figure], None]) -> None:
    # Known input: with peaks, and with nothing measured.
    check_figure(modes_figure(before.prediction, before.bass))
    check_figure(modes_figure(before.prediction, Bass(left=None, right=None, both=None)))


def test_the_length_of_a_bar_is_the_coupling(before: Any) -> None:
    # Second method: the cosines of the first mode along the length, by hand.
    figure = modes_figure(before.prediction, before.bass)
    frequency_hz = 343.2 / (2 * 5.4)
    seat, left = (abs(np.cos(np.pi * y_m / 5.4)) for y_m in (2.6, 0.75))
    for which, length in ((0, seat), (1, seat * left)):
        nearest = min(bars(figure, 0, which), key=lambda bar: abs(bar[0] - frequency_hz))
        assert np.allclose(nearest, (frequency_hz, length), rtol=2e-3)


def test_all_kinds_of_mode_look_alike(before: Any) -> None:
    # Invariant: one colour and one width for all bars of a sort.
    figure = modes_figure(before.prediction, before.bass)
    for ax in figure.axes:
        for collection in ax.collections:
            assert isinstance(collection, LineCollection)
            assert len(collection.get_colors()) == 1
            assert len(np.atleast_1d(collection.get_linewidths())) == 1


def test_measured_peaks_stand_on_top(before: Any) -> None:
    # Invariant: one mark for each peak inside the axis.
    figure = modes_figure(before.prediction, before.bass)
    sides = dict(before.bass.sides)
    for ax, curve in zip(figure.axes, CURVES, strict=True):
        high_hz = ax.get_xlim()[1]
        marks = next(line for line in ax.get_lines() if line.get_marker() == "v")
        expected = [
            one.feature.frequency_hz
            for one in sides[curve].features
            if one.feature.kind == "peak" and one.feature.frequency_hz < high_hz
        ]
        assert list(np.asarray(marks.get_xdata())) == expected
