"""What all figures share."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import matplotlib as mpl
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib import colors
from matplotlib.figure import Figure

from analysis.plots import style
from analysis.plots.bass.curves import bass_figure
from analysis.plots.comparison import AFTER, BEFORE

WIDTHS = st.lists(st.floats(0.01, 0.2), min_size=1, max_size=12)


@given(WIDTHS, st.data())
def test_spread_keeps_order_and_distance(widths: list[float], data: st.DataObject) -> None:
    # Invariant: nothing overlaps, nothing changes places, nothing leaves the panel.
    scale = max(1.0, sum(widths))
    width = np.array(widths) / scale
    n = width.size
    places = np.sort(data.draw(st.lists(st.floats(0, 1), min_size=n, max_size=n)))
    centres = style.separate_labels(places, width, low=0.0, high=1.0)
    gaps = np.diff(centres) - 0.5 * (width[1:] + width[:-1])
    assert np.all(gaps > -1e-9)
    assert centres[0] - width[0] / 2 > -1e-9
    assert centres[-1] + width[-1] / 2 < 1 + 1e-9


def test_spread_leaves_alone_what_stands_apart() -> None:
    # Known input.
    places = np.array([0.2, 0.5, 0.8])
    assert np.allclose(style.separate_labels(places, np.full(3, 0.1), low=0, high=1), places)


def test_two_at_one_place_give_way_alike() -> None:
    # Closed form: the least sum of squares is symmetrical.
    centres = style.separate_labels(np.array([0.5, 0.5]), np.full(2, 0.1), low=0, high=1)
    assert np.allclose(centres, [0.45, 0.55])


@given(WIDTHS, st.data())
def test_readable_labels_stay_near(widths: list[float], data: st.DataObject) -> None:
    # Invariant: what is kept doesn't overlap and lies within reach; the weightiest is kept.
    n = len(widths)
    places = np.sort(data.draw(st.lists(st.floats(0, 1), min_size=n, max_size=n)))
    weights = data.draw(st.lists(st.floats(0, 1), min_size=n, max_size=n))
    width = np.array(widths)
    kept, centres = style.choose_labels(places, width, weights, farthest=0.05)
    assert max(range(n), key=lambda i: weights[i]) in kept
    inner = np.clip(places[kept], width[kept] / 2, 1 - width[kept] / 2)
    assert np.all(np.abs(centres - inner) <= 0.05 + 1e-9)
    assert np.all(np.diff(centres) >= 0.5 * (width[kept][1:] + width[kept][:-1]) - 1e-9)


@pytest.mark.parametrize(("low", "high"), [(-45.0, 22.0), (0.0, 0.031), (-4.0, 4.0), (12.0, 9e3)])
def test_ticks_are_round_and_inside(low: float, high: float) -> None:
    # Invariant: inside, evenly spaced, at most one more than asked for.
    ticks = style.round_ticks(low, high)
    assert 2 <= len(ticks) <= 7
    assert low <= ticks[0]
    assert ticks[-1] <= high
    assert np.allclose(np.diff(ticks), ticks[1] - ticks[0])


@pytest.mark.parametrize(
    ("x", "text", "problem"),
    [(0.5, "another", "lies on"), (0.97, "a long text", "leaves the figure")],
)
def test_a_bad_figure_is_noticed(
    x: float, text: str, problem: str, check_figure: Callable[[Figure], None]
) -> None:
    # Known input: a rule broken; a checker that sees nothing would pass every figure.
    figure, axes = style.make_panels([1.0], title="Title")
    axes[0].set_title("Panel", loc="left")
    axes[0].set_ylabel("Level (dB)")
    axes[0].text(0.5, 0.5, "a text")
    check_figure(figure)
    axes[0].text(x, 0.5, text)
    with pytest.raises(AssertionError, match=problem):
        check_figure(figure)


@pytest.mark.parametrize("file_format", ["png", "svg"])
def test_a_saved_figure_is_the_same_each_time(before: Any, file_format: str) -> None:
    # Invariant: drawn twice, the same bytes; no date.
    files = []
    for _ in range(2):
        stream = io.BytesIO()
        style.save_figure(bass_figure(before.bass), stream, file_format=file_format)
        files.append(stream.getvalue())
    assert files[0] == files[1]
    assert b"<dc:date>" not in files[0]


def test_another_format_is_refused(before: Any) -> None:
    # Bad argument.
    with pytest.raises(ValueError, match="'bmp' must be 'png' or 'svg'"):
        style.save_figure(bass_figure(before.bass), io.BytesIO(), file_format="bmp")


def test_the_users_settings_neither_matter_nor_change(before: Any) -> None:
    # Invariant: another font size in force gives the same picture, and stays in force.
    streams = [io.BytesIO(), io.BytesIO()]
    style.save_figure(bass_figure(before.bass), streams[0], file_format="svg")
    with mpl.rc_context({"font.size": 31, "axes.titlesize": 40}):
        style.save_figure(bass_figure(before.bass), streams[1], file_format="svg")
        assert mpl.rcParams["font.size"] == 31
    assert streams[0].getvalue() == streams[1].getvalue()


def lightness(color: str) -> float:
    """Relative luminance of a colour, 0 black to 1 white (WCAG 2: sRGB to linear light)."""
    rgb = np.array(colors.to_rgb(color))
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


@pytest.mark.parametrize("pair", [(style.CURVES["left"], style.CURVES["right"]), (BEFORE, AFTER)])
def test_two_curves_of_one_panel_differ_in_grey(pair: tuple[Any, Any]) -> None:
    # Published table: WCAG 2 asks a contrast of 3 to 1 of graphics (1.4.11; from memory).
    dark, light = sorted(lightness(look["color"]) for look in pair)
    assert (light + 0.05) / (dark + 0.05) >= 3
    assert {k: v for k, v in pair[0].items() if k != "color"} != {
        k: v for k, v in pair[1].items() if k != "color"
    }


def test_each_cause_has_its_own_mark() -> None:
    # Invariant: told by shape, not by colour.
    marks = [look["marker"] for look in style.CAUSES.values()]
    assert len(set(marks)) == len(marks) == 3
