"""The sheet beside a sweep: a text that describes it fully, to read a recording by.

The sweep has a closed form, so the sheet alone is enough to make it again; the checksum
says whether the file beside it is still the one described. A sheet holds no date: the
same command writes the same bytes.
"""

from __future__ import annotations

from importlib.metadata import version
from pathlib import Path
from typing import Final

import msgspec
import tomli_w

from analysis.signals.programme import Programme
from analysis.signals.sweep import Sweep
from measure.errors import SheetError
from measure.files.audio_files import encode_wav, read_sound
from measure.files.migration import read_versioned
from measure.files.output import text_writer, write_together
from measure.sound.stimulus import checksum, programme_samples

SCHEMA: Final = 1
SUFFIX: Final = ".sheet.toml"

RATE_RANGE_HZ: Final = (8_000, 768_000)
LONGEST_S: Final = 3600.0
"""Wider than what this program makes: a sheet may come from a later one."""

_HINT: Final = "copy the sheet again from where the sweep was made"

_HEAD: Final = """\
# The sheet of an Apexline sweep. Keep it beside the sound file: a recording of the
# sweep can be read by it, at any time. docs/sheet.md explains it.
"""

_COMMENTS: Final = {
    "schema": "version of this format",
    "made_by": "the program that wrote the sweep",
    "sha256": "of the samples as 24-bit integers",
    "start_hz": "first frequency f1, in Hz",
    "stop_hz": "last frequency f2, in Hz",
    "duration_s": "length of a pass T with its fades (half an octave in, 1/24 out), in s",
    "level_dbfs": "peak, in dB re full scale",
    "top_taper_db": "how far the top octave falls toward its end, in dB",
    "order": "which loudspeaker plays each pass: L is channel 1, R is channel 2",
    "sample_rate_hz": "sampling frequency, in Hz",
    "lead_in_s": "silence before the first pass, in s",
    "tail_s": "silence after each pass, for the room's decay, in s",
    "starts_s": "when each pass starts, in s from the first sample",
}


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
    top = {"schema": SCHEMA, "made_by": f"apexline {version}", "sha256": sha256}
    swept = {name: getattr(sweep, name) for name in _SweepTable.__struct_fields__}
    played = {name: getattr(programme, name) for name in _ProgrammeTable.__struct_fields__}
    return "\n\n".join(
        [
            f"{_HEAD}\n{_commented_toml(top)}",
            "# sin(2 pi f1 L (exp(t / L) - 1)) with L = T / ln(f2 / f1)\n"
            f"[sweep]\n{_commented_toml(swept)}",
            f"[programme]\n{_commented_toml(played)}\n",
        ]
    )


def write_programme(sound: Path, programme: Programme) -> None:
    """Write a programme as a sound file, and its sheet beside it; both or none.

    Parameters
    ----------
    sound : Path
        24-bit PCM; replaced if it is there.
    programme : Programme

    Raises
    ------
    OutputError
        If they can't be written.
    """
    samples = programme_samples(programme)
    sheet = sheet_text(programme, sha256=checksum(samples), version=version("apexline"))

    def write_sound(path: Path) -> None:
        encode_wav(path, samples, programme.sample_rate_hz, encoding="PCM_24")

    write_together({sound: write_sound, sheet_path(sound): text_writer(sheet)})


def _commented_toml(values: dict[str, object]) -> str:
    """Return keys and values as TOML, each under the comment that says what it is."""
    lines = []
    for key, value in values.items():
        plain = list(value) if isinstance(value, tuple) else value
        lines.append(f"# {_COMMENTS[key]}\n{tomli_w.dumps({key: plain}).strip()}")
    return "\n".join(lines)


def read_sheet(given: Path) -> tuple[Programme, str]:
    """Read the sheet of a sweep.

    Parameters
    ----------
    given : Path
        The sheet, or the sound file beside it; the sound file itself isn't needed.

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
    path = given if given.suffix.lower() == ".toml" else sheet_path(given)
    if not path.exists():
        raise SheetError(_missing(given, path))
    sheet = read_versioned(
        path,
        _Sheet,
        kind="sheet",
        newest=SCHEMA,
        error=SheetError,
        what="the sheet of a sweep",
        hint=_HINT,
    )
    return _programme(sheet, path), sheet.sha256


def _missing(given: Path, path: Path) -> str:
    """Return what to do about a sheet that isn't there."""
    if not given.exists():
        return f"{given} doesn't exist: give the sweep that was played, or its sheet"
    return (
        f"the sheet {path} is missing: it was written beside the sweep; copy it there, or run "
        "`apexline sweep` again with the options used then: the same options give the same sweep"
    )


def _programme(sheet: _Sheet, path: Path) -> Programme:
    """Return the programme that a sheet describes."""
    try:
        programme = _build_programme(sheet)
    except ValueError as problem:
        msg = f"{path}: {problem}; the sheet was changed, {_HINT}"
        raise SheetError(msg) from problem
    starts_s = sheet.programme.starts_s
    fits = len(starts_s) == len(programme.starts_s) and all(
        abs(a - b) <= 1e-6 for a, b in zip(programme.starts_s, starts_s, strict=True)
    )
    if not fits:
        msg = f"{path}: its starts_s don't fit its other figures; {_HINT}"
        raise SheetError(msg)
    return programme


def _build_programme(sheet: _Sheet) -> Programme:
    """Return the records, which refuse what is impossible.

    Raises
    ------
    ValueError
        If a figure lies outside what a programme can have.
    """
    table, swept = sheet.programme, sheet.sweep
    if not RATE_RANGE_HZ[0] <= table.sample_rate_hz <= RATE_RANGE_HZ[1]:
        msg = f"sample_rate_hz {table.sample_rate_hz} must lie from {RATE_RANGE_HZ[0]} to "
        msg += f"{RATE_RANGE_HZ[1]}"
        raise ValueError(msg)
    if not swept.stop_hz < table.sample_rate_hz / 2:
        msg = f"stop_hz {swept.stop_hz} must lie below half of sample_rate_hz"
        raise ValueError(msg)
    for name, value_s in (("lead_in_s", table.lead_in_s), ("tail_s", table.tail_s)):
        if not 0 <= value_s <= LONGEST_S:
            msg = f"{name} {value_s} must lie from 0 to {LONGEST_S:g}"
            raise ValueError(msg)
    if not -200 <= swept.level_dbfs <= 0 or not swept.duration_s <= LONGEST_S:
        msg = f"level_dbfs {swept.level_dbfs} or duration_s {swept.duration_s} is impossible"
        raise ValueError(msg)
    return Programme(
        sweep=Sweep(**msgspec.structs.asdict(swept)),
        order=table.order,
        sample_rate_hz=table.sample_rate_hz,
        lead_in_s=table.lead_in_s,
        tail_s=table.tail_s,
    )


def check_sound(sound: Path, sha256: str) -> None:
    """Check that a sweep file still holds what its sheet describes.

    Parameters
    ----------
    sound : Path
        What was given as the sweep; nothing is checked if it is a sheet or isn't there.
    sha256 : str
        From the sheet.

    Raises
    ------
    AudioFileError
        If the file can't be read.
    SheetError
        If its samples are others.
    """
    if sound.suffix.lower() != ".wav" or not sound.exists():
        return
    if checksum(read_sound(sound).samples) != sha256:
        msg = (
            f"{sound} doesn't hold what its sheet {sheet_path(sound)} describes: one of them was "
            "replaced; give the sweep that was played, or the sheet itself to read by it anyway"
        )
        raise SheetError(msg)
