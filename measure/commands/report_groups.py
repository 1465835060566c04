"""The page of two groups of takes, or of two pairs side by side, for ``apexline report``."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analysis.comparison.groups.compare import GroupComparison
    from analysis.report.page import Part
    from analysis.survey.moves.coordinates import RoomPlaces, Thing
    from measure.logbook.folder import Logbook

SIGMAS = 2.0


def group_page(
    folder: Path,
    before: tuple[str, ...],
    after: tuple[str, ...],
    *,
    pairs: bool,
    sources: tuple[str, ...],
) -> str:
    """Return the page of two groups.

    Raises
    ------
    LogbookError
        If a take isn't there, or they can't be compared.
    """
    from analysis.report.comparison import groups as words
    from analysis.report.page import Part, page_html
    from measure.logbook.compared_takes import compare_takes
    from measure.logbook.folder import open_logbook

    logbook = open_logbook(folder)
    found = compare_takes(logbook, before, after, pairs=pairs)
    names = before[0], after[0]
    distances = distance_rows(logbook, names)
    parts = [
        *_figures(found, names),
        Part(heading="Side by side", rows=tuple(words.change_rows(found))),
        Part(heading="Peaks, dips, first reflections", rows=tuple(words.outcome_rows(found))),
        Part(heading="Distances", rows=distances)
        if distances
        else Part(heading="Distances", texts=(NO_PLACES,)),
        Part(heading="Basis", texts=(words.basis_text(found), *sources)),
    ]
    return page_html(
        title=f"{names[0]} and {names[1]}",
        when=f"{', '.join(before)} against {', '.join(after)}",
        verdict=[words.claim_text(found, names=names), *words.outcome_texts(found)],
        parts=parts,
    )


NO_PLACES = (
    "Not known: the logbook keeps no place with coordinates under the name of both takes' places. "
    "A survey fills one: apexline survey SURVEY.toml --place NAME."
)


def _figures(found: GroupComparison, names: tuple[str, str]) -> list[Part]:
    """Return the curves of both sides, bass and whole range."""
    from analysis.plots.page.figures import group_svg, wide_svg
    from analysis.report.page import Part

    caption = (
        f"{names[0]} dotted, {names[1]} solid; grey: two standard deviations of the repeats, "
        "where there are any."
    )
    drawn = (
        ("Bass of the {} loudspeaker", group_svg),
        ("Whole range of the {} loudspeaker", wide_svg),
    )
    return [
        Part(
            heading=heading.format(side), figure=draw(found, names=names, side=row), caption=caption
        )
        for heading, draw in drawn
        for row, side in enumerate(("left", "right"))
    ]


def distance_rows(logbook: Logbook, takes: tuple[str, str]) -> tuple[tuple[str, ...], ...]:
    """Return the distances at the places of two takes beside each other; empty if not kept."""
    from analysis.report import format as fmt

    places = [_places(logbook, name) for name in takes]
    first, second = places
    if first is None or second is None:
        return ()
    rows: list[tuple[str, ...]] = [("", takes[0], takes[1], "change", "beyond two sigma")]
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
                "yes" if abs(b - a) > SIGMAS * std_m else "no",
            )
        )
    return tuple(rows)


_LABELS = (
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


def _places(logbook: Logbook, take: str) -> RoomPlaces | None:
    """Return where the pair of a take stood, if its place is kept with coordinates."""
    from measure.errors import MeasureError
    from measure.logbook.entries.pair_place import coordinates, stood
    from measure.logbook.remarks import take_path
    from measure.logbook.take_index import read_line

    line = read_line(take_path(logbook, take))
    if line.place is None:
        return None
    try:
        return coordinates(stood(logbook, line.place))
    except MeasureError:
        return None
