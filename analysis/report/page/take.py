"""The page of one take."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.plots.page.figures import arrival_svg, bass_svg, plan_svg
from analysis.reading import Reading
from analysis.report.page.html import PagePart, page_html
from analysis.report.reading.details import detail_sections
from analysis.report.reading.verdict import verdict
from analysis.room.room import Positions, Room


def take_page(
    reading: Reading,
    *,
    title: str,
    when: str,
    room: tuple[Room, Positions] | None,
    cautions: Sequence[str],
    microphone: Sequence[str],
    method: Sequence[tuple[str, ...]],
    sources: Sequence[str],
) -> str:
    """Return the page of a take.

    Parameters
    ----------
    reading : Reading
    title, when : str
        What it is called, what it is of and when that was.
    room : tuple of (Room, Positions) or None
    cautions : sequence of str
        What the page can't know, beside the reading's own.
    microphone : sequence of str
        What was done about the microphone's own response.
    method : sequence of tuple of str
        How it was measured, as a table with headings.
    sources : sequence of str
        On what the figures rest.
    """
    said = verdict(reading)
    listed = detail_sections(reading, microphone=list(microphone))
    parts = [
        PagePart(heading="What was found", texts=said.findings),
        PagePart(heading="Cautions", texts=(*said.cautions, *cautions) or ("None.",)),
        *_plan(room),
        *_curves(reading),
        *(PagePart(heading=name, lines=tuple(lines)) for name, lines in listed),
        PagePart(heading="How it was measured", rows=tuple(method)),
        PagePart(heading="Sources", texts=tuple(sources)),
    ]
    return page_html(title=title, when=when, verdict=said.actions, parts=parts)


def _plan(room: tuple[Room, Positions] | None) -> list[PagePart]:
    """Return the plan of a box; a floor plan that is no box has none of this kind."""
    if room is None or not room[0].is_box:
        return []
    drawn = plan_svg(room[0], room[1])
    return [PagePart(heading="Plan", figure=drawn, caption="From the room file.")]


def _curves(reading: Reading) -> list[PagePart]:
    """Return the figures of bass and first sound, of what was heard."""
    parts = []
    bass = bass_svg(reading.bass)
    if bass is not None:
        caption = "At the seat, 1/6 octave. Left solid, right dashed; the worst places are marked."
        parts.append(PagePart(heading="Bass of each loudspeaker", figure=bass, caption=caption))
    if reading.left and reading.right and reading.arrival:
        figure = arrival_svg(
            reading.left.response, reading.right.response, left_s=reading.arrival.left_s
        )
        parts.append(
            PagePart(heading="First sound", figure=figure, caption="Left solid, right dashed.")
        )
    return parts
