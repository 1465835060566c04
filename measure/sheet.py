"""The sheet beside a sweep: a text that describes it fully, to read a recording by.

The sweep has a closed form, so the sheet alone is enough to make it again; the checksum
says whether the file beside it is still the one described.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import msgspec

from analysis.programme import Programme
from analysis.sweep import Sweep
from measure.errors import SheetError
from measure.output import write_whole

SCHEMA = 1
SUFFIX = ".sheet.toml"


class _SweepTable(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """The sheet's ``[sweep]``."""

    start_hz: float
    stop_hz: float
    duration_s: float
    level_dbfs: float
    top_taper_db: float


class _ProgrammeTable(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """The sheet's ``[programme]``."""

    order: str
    sample_rate_hz: int
    lead_in_s: float
    tail_s: float
    starts_s: list[float]


class _Sheet(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """The whole sheet."""

    schema: int
    made_by: str
    sha256: str
    sweep: _SweepTable
    programme: _ProgrammeTable


def sheet_path(sound: Path) -> Path:
    """Return where the sheet of a sweep file stands."""
    return sound.with_name(sound.stem + SUFFIX)


def sheet_text(programme: Programme, *, sha256: str, version: str) -> str:
    """Return the sheet of a programme.

    Parameters
    ----------
    programme : Programme
    sha256 : str
        Checksum of its samples.
    version : str
        Of this program.

    Returns
    -------
    str
        TOML with comments.
    """
    sweep = programme.sweep
    starts = ", ".join(repr(start_s) for start_s in programme.starts_s)
    return f"""\
# The sheet of an Apexline sweep. Keep it beside the sound file: a recording of the
# sweep can be read by it, at any time. docs/sheet.md explains it.
schema = {SCHEMA}
made_by = "apexline {version}"
sha256 = "{sha256}"        # of the samples, as 24-bit integers

[sweep]                    # sin(2 pi f1 L (exp(t / L) - 1)), L = T / ln(f2 / f1)
start_hz = {sweep.start_hz!r}           # f1
stop_hz = {sweep.stop_hz!r}         # f2
duration_s = {sweep.duration_s!r}          # T, with its fades: half an octave in, 1/24 out
level_dbfs = {sweep.level_dbfs!r}        # peak
top_taper_db = {sweep.top_taper_db!r}        # how far the top octave falls toward its end

[programme]
order = "{programme.order}"             # L is channel 1, R is channel 2
sample_rate_hz = {programme.sample_rate_hz}
lead_in_s = {programme.lead_in_s!r}            # silence before the first pass
tail_s = {programme.tail_s!r}               # silence after each, for the room's decay
starts_s = [{starts}]
"""


def write_sheet(path: Path, text: str) -> None:
    """Write a sheet, whole or not at all.

    Raises
    ------
    OutputError
        If it can't be written.
    """

    def write(temporary: Path) -> None:
        temporary.write_text(text, encoding="utf-8")

    write_whole(path, write)


def read_sheet(given: Path) -> tuple[Programme, str]:
    """Read the sheet of a sweep.

    Parameters
    ----------
    given : Path
        The sheet, or the sound file beside it.

    Returns
    -------
    programme : Programme
    sha256 : str
        Checksum of the samples that it describes.

    Raises
    ------
    SheetError
        If there is no sheet, or it can't be used.
    """
    path = given if given.suffix == ".toml" else sheet_path(given)
    try:
        sheet = msgspec.convert(tomllib.loads(path.read_text(encoding="utf-8")), type=_Sheet)
    except FileNotFoundError as problem:
        if not given.exists():
            msg = f"{given} doesn't exist: give the sweep that was played, or its sheet"
        else:
            msg = (
                f"the sheet {path} is missing: it was written beside the sweep; copy it there, or "
                "make the sweep again with the same options"
            )
        raise SheetError(msg) from problem
    except OSError as problem:
        msg = f"can't read {path}: {problem.strerror}"
        raise SheetError(msg) from problem
    except UnicodeDecodeError as problem:
        msg = f"{path} isn't UTF-8 text: copy the sheet again from where the sweep was made"
        raise SheetError(msg) from problem
    except (tomllib.TOMLDecodeError, msgspec.ValidationError) as problem:
        msg = f"{path} isn't a sheet that can be read ({problem}): copy it again"
        raise SheetError(msg) from problem
    return _programme(sheet, path), sheet.sha256


def _programme(sheet: _Sheet, path: Path) -> Programme:
    """Return the programme that a sheet describes."""
    if sheet.schema != SCHEMA:
        msg = f"{path} has schema {sheet.schema}, this program reads {SCHEMA}: update it"
        raise SheetError(msg)
    table, swept = sheet.programme, sheet.sweep
    try:
        programme = Programme(
            sweep=Sweep(
                start_hz=swept.start_hz,
                stop_hz=swept.stop_hz,
                duration_s=swept.duration_s,
                level_dbfs=swept.level_dbfs,
                top_taper_db=swept.top_taper_db,
            ),
            order=table.order,
            sample_rate_hz=table.sample_rate_hz,
            lead_in_s=table.lead_in_s,
            tail_s=table.tail_s,
        )
    except ValueError as problem:
        msg = f"{path}: {problem}; the sheet was changed, copy it again"
        raise SheetError(msg) from problem
    if max(abs(a - b) for a, b in zip(programme.starts_s, table.starts_s, strict=False)) > 1e-6:
        msg = f"{path}: its starts_s don't fit its other figures; copy the sheet again"
        raise SheetError(msg)
    return programme
