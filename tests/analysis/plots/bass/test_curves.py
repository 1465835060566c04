"""The figure of the bass curves."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from matplotlib.figure import Figure

from analysis.bass.bass import Bass, ExplainedFeature
from analysis.bass.positions import average_positions
from analysis.plots.bass.curves import bass_figure, cause_label
from analysis.plots.style import CAUSES


def test_it_obeys_the_rules(
    before: Any, far_after: Any, check_figure: Callable[[Figure], None]
) -> None:
    # Known input: two placements of the invented pair.
    check_figure(bass_figure(before.bass))
    check_figure(bass_figure(far_after.bass))


def test_one_panel_a_curve(before: Any) -> None:
    # Known input: three curves, and one loudspeaker alone.
    titles = [ax.get_title(loc="left") for ax in bass_figure(before.bass).axes]
    assert titles == ["Left loudspeaker", "Right loudspeaker", "Both together"]
    alone = replace(before.bass, right=None, both=None)
    assert len(bass_figure(alone).axes) == 1


def test_every_feature_has_the_mark_of_its_cause(before: Any) -> None:
    # Invariant: as many marks of each shape as features of each cause.
    figure = bass_figure(before.bass)
    for ax, (_, side) in zip(figure.axes, before.bass.sides, strict=True):
        for cause, look in CAUSES.items():
            drawn = [line for line in ax.get_lines() if line.get_marker() == look["marker"]]
            assert len(drawn) == sum(one.causes[0].cause == cause for one in side.features)


def test_the_strongest_peak_is_labelled(before: Any) -> None:
    # Known input: mode (2, 0, 0) at 63.6 Hz.
    for ax in bass_figure(before.bass).axes:
        assert "64 Hz\n2 0 0" in [text.get_text() for text in ax.texts]


def test_spots_are_a_band(before: Any, after: Any) -> None:
    # Known input: a second position.
    side = before.bass.left
    average = average_positions([side.curve, after.bass.left.curve])
    figure = bass_figure(replace(before.bass, left=replace(side, position_average=average)))
    assert len(figure.axes[0].collections) == 1
    assert len(figure.axes[1].collections) == 0


def test_a_feature_at_one_spot_only_gets_no_cause(before: Any) -> None:
    # Known input: other positions were measured and lack it.
    one: ExplainedFeature = replace(before.bass.left.features[0], n_positions_seen=1)
    assert cause_label(one).endswith("(here only)")


def test_a_gap_is_drawn_as_one(before: Any, check_figure: Callable[[Figure], None]) -> None:
    # Known input: no clean data from 100 to 140 Hz.
    curve = before.bass.left.curve
    covered = (curve.frequency_hz < 100) | (curve.frequency_hz > 140)
    side = replace(before.bass.left, curve=replace(curve, covered=covered), features=())
    figure = bass_figure(replace(before.bass, left=side, right=None, both=None))
    level = np.asarray(figure.axes[0].get_lines()[1].get_ydata(), dtype=float)
    assert np.isnan(level[~covered]).all()
    check_figure(figure)


def test_nothing_heard_is_refused() -> None:
    # Bad argument.
    with pytest.raises(ValueError, match="no curve"):
        bass_figure(Bass(left=None, right=None, both=None))
