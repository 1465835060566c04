"""The plan: true to scale, on a page, in grey, and with all that stands in the room."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Ellipse, Polygon

from analysis.plots.style import save_figure
from analysis.plots.survey import INCH_M, PAGE_IN, SCALES, plan_figure
from analysis.survey.result import SurveyResult, evaluate_survey
from benchmarks.survey_rooms import noisy, random_places, survey_of


@pytest.fixture(scope="module")
def result() -> SurveyResult:
    rng = np.random.default_rng([9, 2])
    return evaluate_survey(noisy(survey_of(random_places(rng), "both"), rng))


@pytest.fixture(scope="module")
def figure(result: SurveyResult) -> Figure:
    return plan_figure(result, length=lambda value_m: f"{value_m * 1000:.0f} mm")


def test_it_is_to_scale_and_fits_a_page(figure: Figure) -> None:
    # Closed form: inches of paper times the stated scale are metres of the room, both ways.
    plan, bar = figure.axes
    size_in = figure.get_size_inches()
    assert np.all(size_in <= np.array(PAGE_IN) + 1e-9)
    box = plan.get_position()
    width_m = box.width * size_in[0] * INCH_M
    height_m = box.height * size_in[1] * INCH_M
    x, y = plan.get_xlim(), plan.get_ylim()
    scale = (x[1] - x[0]) / width_m
    assert scale == pytest.approx((y[0] - y[1]) / height_m)
    assert min(abs(scale - one) for one in SCALES) < 1e-6
    assert any(f"Scale 1:{scale:.0f} " in text.get_text() for text in figure.texts)
    bar_in = bar.get_position().width * size_in[0]
    assert bar_in * INCH_M * scale == pytest.approx(1.0)


def test_everything_stands_where_it_was_surveyed(figure: Figure, result: SurveyResult) -> None:
    # Second method: the patches' corners against the adjusted places.
    plan = figure.axes[0]
    corners = [patch.get_xy() for patch in plan.patches if isinstance(patch, Polygon)]
    for side in ("left", "right"):
        for edge in ("inner", "outer"):
            place = result.solution.place_m(f"{side} {edge}")[:2]
            assert min(float(np.abs(box - place).sum(axis=1).min()) for box in corners) < 1e-9
    heads = [patch.center for patch in plan.patches if isinstance(patch, Circle)]
    assert heads[0] == pytest.approx(tuple(result.solution.place_m("head")[:2]))
    dashed = [
        patch for patch in plan.patches if isinstance(patch, Polygon) and not patch.get_fill()
    ]
    assert len(dashed) == 2
    texts = [text.get_text() for text in plan.texts]
    value = result.triangle.distance_m.left.value
    assert value is not None
    assert f"{value * 1000:.0f} mm" in texts


def test_the_ellipses_are_magnified_as_said(figure: Figure, result: SurveyResult) -> None:
    # Closed form: the larger axis is twice the root of the larger eigenvalue, magnified.
    text = next(text.get_text() for text in figure.texts if "times" in text.get_text())
    magnified = int(text.split("one sigma, ")[1].split(" times")[0])
    place = result.solution.place_m("left tweeter")[:2]
    ellipses = [
        patch
        for patch in figure.axes[0].patches
        if isinstance(patch, Ellipse) and not isinstance(patch, Circle)
    ]
    one = min(ellipses, key=lambda patch: float(np.linalg.norm(np.subtract(patch.center, place))))
    values = np.linalg.eigvalsh(result.solution.place_covariance("left tweeter")[:2, :2])
    assert one.width == pytest.approx(2 * magnified * np.sqrt(values[1]))
    assert one.height == pytest.approx(2 * magnified * np.sqrt(values[0]))


def test_it_reads_in_grey(figure: Figure) -> None:
    # Invariant: no line or patch of the plan has a hue.
    plan = figure.axes[0]
    for line in plan.lines:
        assert np.ptp(to_rgb(line.get_color())) < 1e-9
    for patch in plan.patches:
        assert np.ptp(patch.get_edgecolor()[:3]) < 1e-9


def test_it_is_written_in_both_formats(figure: Figure) -> None:
    for file_format, start in (("png", b"\x89PNG"), ("svg", b"<?xml")):
        stream = io.BytesIO()
        save_figure(figure, stream, file_format=file_format)
        assert stream.getvalue().startswith(start)


def test_a_survey_with_open_ends_is_drawn_all_the_same() -> None:
    survey = survey_of(random_places(np.random.default_rng(1)), "minimal")
    few = evaluate_survey(replace(survey, observations=survey.observations[:4]))
    assert plan_figure(few, length=str).axes
