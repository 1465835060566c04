"""Figures as files: the only place where drawings meet the disk."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from matplotlib.figure import Figure

from analysis.plots.bass.curves import bass_figure
from analysis.plots.bass.decay import decay_figure
from analysis.plots.bass.modes import modes_figure
from analysis.plots.pair import arrival_figure
from analysis.plots.style import save_figure
from analysis.reading import Reading
from analysis.room.room import Point
from measure.errors import OutputError
from measure.files.output import Writer, write_together

FORMATS = ("png", "svg")


def write_reading_figures(reading: Reading, folder: Path) -> list[Path]:
    """Draw a reading's figures into a folder, made if it isn't there.

    Returns
    -------
    list of Path
        What was written; figures that the reading has nothing for are left out.

    Raises
    ------
    OutputError
        If the folder can't be made or written to.
    """
    figures: dict[str, Figure] = {}
    if reading.left and reading.right and reading.arrival:
        figures["arrival"] = arrival_figure(
            reading.left.response,
            reading.right.response,
            reading.arrival,
            floor_delay_s=_floor_delay_s(reading),
        )
    if reading.bass.sides:
        figures["bass"] = bass_figure(reading.bass)
        figures["decay"] = decay_figure(reading.bass)
    if reading.prediction is not None:
        figures["modes"] = modes_figure(reading.prediction, reading.bass)
    return write_figures(figures, folder)


def _floor_delay_s(reading: Reading) -> tuple[float, float] | None:
    """Return how long after the direct sound the floor's reflection comes, if it is known."""
    if reading.prediction is None:
        return None
    positions = reading.prediction.positions
    speed_m_s = reading.air.speed_of_sound_m_s
    left, right = (
        _mirrored_in_floor(side.tweeter).distance_m(positions.seat)
        - side.tweeter.distance_m(positions.seat)
        for side in (positions.left, positions.right)
    )
    return left / speed_m_s, right / speed_m_s


def _mirrored_in_floor(point: Point) -> Point:
    """Return the mirror image of a point in the floor."""
    return Point(x_m=point.x_m, y_m=point.y_m, z_m=-point.z_m)


def write_figures(figures: Mapping[str, Figure], folder: Path) -> list[Path]:
    """Write figures as PNG and SVG, all or none.

    Parameters
    ----------
    figures : mapping of str to Figure
        File name without its ending, and the figure.

    Raises
    ------
    OutputError
        If the folder can't be made or written to.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        msg = f"can't make the folder {folder}: {problem.strerror}"
        raise OutputError(msg) from problem
    files = {
        folder / f"{name}.{file_format}": _figure_writer(figure, file_format)
        for name, figure in figures.items()
        for file_format in FORMATS
    }
    write_together(files)
    return list(files)


def _figure_writer(figure: Figure, file_format: str) -> Writer:
    """Return what writes a figure to a path."""

    def write(path: Path) -> None:
        with path.open("wb") as stream:
            save_figure(figure, stream, file_format=file_format)

    return write
