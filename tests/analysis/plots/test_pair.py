"""The figure of the first arrivals."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from matplotlib.figure import Figure

from analysis.plots.pair import arrival_figure


def test_it_obeys_the_rules(before: Any, check_figure: Callable[[Figure], None]) -> None:
    # Known input: the invented pair, with the floor's time unknown and known.
    check_figure(arrival_figure(before.left, before.right, before.arrival))
    check_figure(
        arrival_figure(before.left, before.right, before.arrival, floor_delay_s=(2.3e-3, 2.4e-3))
    )


def test_the_curves_peak_where_the_arrivals_are_marked(before: Any) -> None:
    # Second method: the highest point of each drawn curve against the marked arrival.
    figure = arrival_figure(before.left, before.right, before.arrival)
    apart_ms = []
    for ax in figure.axes[:2]:
        curve = max(ax.get_lines(), key=lambda line: len(np.asarray(line.get_xdata())))
        time_ms, height = np.asarray(curve.get_xdata()), np.asarray(curve.get_ydata())
        apart_ms.append(time_ms[np.argmax(np.abs(height))])
    assert apart_ms[0] - apart_ms[1] == pytest.approx(0.0443 / 343.2 * 1e3, abs=0.03)


def test_the_difference_is_written(before: Any) -> None:
    # Known input: 44.3 mm, and withheld.
    figure = arrival_figure(before.left, before.right, before.arrival)
    assert "+44.3 ± 1.0 mm" in figure.axes[2].get_title(loc="left")
    withheld = replace(before.arrival, difference_m=None)
    figure = arrival_figure(before.left, before.right, withheld)
    assert "withheld" in figure.axes[2].get_title(loc="left")


def test_a_far_apart_pair_still_draws(
    far_after: Any, check_figure: Callable[[Figure], None]
) -> None:
    # Known input: 0.26 m apart, more than the close-up shows.
    check_figure(arrival_figure(far_after.left, far_after.right, far_after.arrival))
