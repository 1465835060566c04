"""What every figure is held to."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.transforms import Bbox

DPI = 100


def shown_texts(figure: Figure) -> list[tuple[str, Bbox]]:
    """Every text that is drawn, with its box in pixels, from the Agg renderer."""
    figure.set_dpi(DPI)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    renderer = canvas.get_renderer()
    found = []
    for text in figure.findobj(Text):
        assert isinstance(text, Text)
        if text.get_visible() and text.get_text().strip():
            found.append((text.get_text(), text.get_window_extent(renderer)))
    return found


def overlap(first: Bbox, second: Bbox) -> bool:
    """Whether two boxes share more than a pixel's edge."""
    width = min(first.x1, second.x1) - max(first.x0, second.x0)
    height = min(first.y1, second.y1) - max(first.y0, second.y0)
    return width > 1 and height > 1


def check(figure: Figure) -> None:
    """Hold a figure to the rules: titles, axes with units, nothing on top of anything."""
    assert figure.texts, "the figure has no title"
    for ax in figure.axes:
        assert ax.get_title(loc="left"), "a panel has no title"
        if ax.axison:
            assert ax.get_ylabel() or ax.yaxis.get_ticklabels(), "an axis has no name"
    labels = [ax.get_xlabel() for ax in figure.axes if ax.get_xlabel()]
    assert all("(" in label for label in labels), "an axis has no unit"
    boxes = shown_texts(figure)
    width, height = figure.canvas.get_width_height()
    for text, box in boxes:
        assert box.x0 >= -1, f"{text!r} leaves the figure"
        assert box.x1 <= width + 1, f"{text!r} leaves the figure"
        assert box.y0 >= -1, f"{text!r} leaves the figure"
        assert box.y1 <= height + 1, f"{text!r} leaves the figure"
    for index, (text, box) in enumerate(boxes):
        for other, other_box in boxes[index + 1 :]:
            assert not overlap(box, other_box), f"{text!r} lies on {other!r}"


@pytest.fixture(scope="session")
def check_figure() -> Callable[[Figure], None]:
    """Return the function that holds a figure to the rules."""
    return check
