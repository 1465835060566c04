"""The page of two groups of takes, or of two pairs side by side."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from analysis.basics.uncertainty import COVERAGE_FACTOR
from analysis.comparison.groups.compare import GroupComparison
from analysis.plots.page.figures import group_svg, wide_svg
from analysis.report import format as fmt
from analysis.report.comparison import groups as words
from analysis.report.page.html import PagePart, page_html
from analysis.survey.moves.coordinates import RoomPlaces, Thing

NO_PLACES: Final = (
    "Not known: the logbook keeps no place with coordinates under the name of both takes' places. "
    "A survey fills one: apexline survey SURVEY.toml --place NAME."
)

_LABELS: Final = (
    "left to seat",
    "right to seat",
    "left minus right",
    "left to right",
    "left to front wall",
    "right to front wall",
    "left to left wall",
    "right to left wall",
    "seat to front wall",
)


def group_page(
    found: GroupComparison,
    before: Sequence[str],
    after: Sequence[str],
    *,
    places: tuple[RoomPlaces | None, RoomPlaces | None],
    sources: Sequence[str],
) -> str:
    """Return the page of two groups.

    Parameters
    ----------
    before, after : sequence of str
        The takes of both groups; the first of each gives it its name.
    places : tuple of two RoomPlaces or None
        Where the pair of each group's first take stood, where that is known.
    sources : sequence of str
        On what the figures rest.
    """
    names = before[0], after[0]
    first, second = places
    distances = () if not (first and second) else distance_rows(first, second, names=names)
    parts = [
        *_figures(found, names),
        PagePart(heading="Side by side", rows=tuple(words.change_rows(found))),
        PagePart(heading="Peaks, dips, first reflections", rows=tuple(words.outcome_rows(found))),
        PagePart(heading="Distances", rows=distances)
        if distances
        else PagePart(heading="Distances", texts=(NO_PLACES,)),
        PagePart(heading="Basis", texts=(words.basis_text(found), *sources)),
    ]
    return page_html(
        title=f"{names[0]} and {names[1]}",
        when=f"{', '.join(before)} against {', '.join(after)}",
        verdict=[words.claim_text(found, names=names), *words.outcome_texts(found)],
        parts=parts,
    )


def _figures(found: GroupComparison, names: tuple[str, str]) -> list[PagePart]:
    """Return the curves of both sides, bass and whole range."""
    caption = (
        f"{names[0]} dotted, {names[1]} solid; grey: two standard deviations of the repeats, "
        "where there are any."
    )
    drawn = (
        ("Bass of the {} loudspeaker", group_svg),
        ("Whole range of the {} loudspeaker", wide_svg),
    )
    return [
        PagePart(
            heading=heading.format(side), figure=draw(found, names=names, side=row), caption=caption
        )
        for heading, draw in drawn
        for row, side in enumerate(("left", "right"))
    ]


def distance_rows(
    first: RoomPlaces, second: RoomPlaces, *, names: tuple[str, str]
) -> tuple[tuple[str, ...], ...]:
    """Return the distances at two places beside each other, headed by two names."""
    rows: list[tuple[str, ...]] = [("", names[0], names[1], "change", "beyond two sigma")]
    for label, (a, a_std), (b, b_std) in zip(
        _LABELS, _distances(first), _distances(second), strict=True
    ):
        std_m = math.hypot(a_std, b_std)
        rows.append(
            (
                label,
                fmt.mm(a, a_std),
                fmt.mm(b, b_std),
                fmt.mm(b - a, std_m, sign=True),
                "yes" if abs(b - a) > COVERAGE_FACTOR * std_m else "no",
            )
        )
    return tuple(rows)


def _distances(at: RoomPlaces) -> list[tuple[float, float]]:
    """Return the distances of a place, each with its sigma, in the order of the labels."""

    def apart(a: Thing, b: Thing) -> float:
        return math.dist(at.places_m[a], at.places_m[b])

    twice = at.std_m * math.sqrt(2)
    left, right = apart("left", "seat"), apart("right", "seat")
    spans = [(left, twice), (right, twice), (left - right, 2 * at.std_m)]
    spans.append((apart("left", "right"), twice))
    walls: list[tuple[Thing, int]] = [("left", 1), ("right", 1), ("left", 0), ("right", 0)]
    walls.append(("seat", 1))
    return [*spans, *((at.places_m[what][axis], at.std_m) for what, axis in walls)]
