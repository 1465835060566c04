"""What ``take.toml`` says of a take: one record for each of its tables.

Conventions: units as the names' endings say; what wasn't known or doesn't apply is None and
its key is left out. Frames are counted from the first of the recording, or of the output
where said. Each field's description here is its comment in the file, and
``docs/take.md`` lists them all. Neither numpy nor a sound library is loaded, so that a list of
takes needs neither.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Annotated, Final, Literal, get_type_hints

import msgspec
import tomli_w
from msgspec import Meta

from measure.errors import TakeError
from measure.files.migration import read_versioned

SCHEMA: Final = 1

HINT: Final = "copy the take again from where it was made"

_HEAD: Final = """\
# An Apexline take. It was written last: while this file is missing, the take isn't
# complete. docs/take.md explains it.
"""

_HEAD_BEGUN: Final = """\
# What was known of this take before its first sample. docs/take.md explains it.
"""


class _Table(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A table of the file."""


class Occasion(_Table, frozen=True, kw_only=True):
    """The table ``[take]``: when, where and of what."""

    name: Annotated[str, Meta(description="as the person gave it")]
    started: Annotated[
        datetime, Meta(description="local time of the first recorded sample", tz=True)
    ]
    pair: Annotated[str | None, Meta(description="which pair of loudspeakers")] = None
    room: Annotated[str | None, Meta(description="which room")] = None
    place: Annotated[str | None, Meta(description="where the microphone stood")] = None
    interrupted: Annotated[
        str | None, Meta(description="why it ended early, where it was completed afterwards")
    ] = None


class Sound(_Table, frozen=True, kw_only=True):
    """The table ``[device]``: the way of the sound."""

    path: Annotated[str, Meta(description="what played and recorded, in words")]
    sample_rate_hz: Annotated[int, Meta(description="nominal, of output and input, in Hz")]
    simulated: Annotated[bool, Meta(description="whether it was the simulated room")] = False
    host: Annotated[str | None, Meta(description="the sound system used")] = None
    output: Annotated[str | None, Meta(description="the device that played")] = None
    input: Annotated[str | None, Meta(description="the device that recorded")] = None
    output_channels: Annotated[
        tuple[int, int] | None, Meta(description="its channels for left and right, from 1")
    ] = None
    input_channel: Annotated[
        int | None, Meta(description="its channel with the microphone, from 1")
    ] = None
    reference_channel: Annotated[
        int | None, Meta(description="its channel wired to the output, from 1")
    ] = None


class Level(_Table, frozen=True, kw_only=True):
    """The table ``[level]``: how loud, and against what noise."""

    level_dbfs: Annotated[float, Meta(description="peak of the sweep as played, in dBFS")]
    noise_dbfs: Annotated[
        float | None, Meta(description="the room's noise at the input, RMS, in dBFS")
    ] = None
    snr_db: Annotated[
        float | None, Meta(description="what the level check found, sweep over noise, in dB")
    ] = None
    sides_confirmed: Annotated[
        bool | None, Meta(description="whether a person said which loudspeaker sounded")
    ] = None


class RepeatedPass(_Table, frozen=True, kw_only=True):
    """An entry of ``[[programme.repeated]]``: a pass played again because one was spoilt."""

    number: Annotated[int, Meta(description="the spoilt pass, from 1 in planned_order")]
    side: Annotated[str, Meta(description="L or R")]
    at_frame: Annotated[int, Meta(description="where it was played again, in output frames")]
    reason: Annotated[str, Meta(description="what was wrong")]


class Played(_Table, frozen=True, kw_only=True):
    """The table ``[programme]``: what was meant to be played, and what was."""

    planned_order: Annotated[str, Meta(description="one letter a pass: L or R")]
    played_order: Annotated[str, Meta(description="with the passes played again")]
    repeated: Annotated[tuple[RepeatedPass, ...], Meta(description="the passes played again")] = ()


class Recorded(_Table, frozen=True, kw_only=True):
    """The table ``[recording]``: what the sound file holds, to tell a changed one by."""

    file: Annotated[str, Meta(description="channel 1 microphone, 2 wired to the output if any")]
    sha256: Annotated[str, Meta(description="of the samples as 32-bit floats, frame by frame")]
    n_frames: Annotated[int, Meta(description="samples of each channel")]
    n_channels: Annotated[int, Meta(description="1, or 2 with the wired one")]
    sample_rate_hz: Annotated[int, Meta(description="in Hz")]
    n_never_delivered: Annotated[
        int | None,
        Meta(description="frames that the device never delivered; they are zeros in the file"),
    ] = None
    never_delivered: Annotated[
        tuple[tuple[int, int], ...],
        Meta(description="where: first frame and number of frames, the first hundred places"),
    ] = ()


class DriverXrun(_Table, frozen=True, kw_only=True):
    """An entry of ``[[driver.xruns]]``."""

    frame: Annotated[int, Meta(description="about where, on its side")]
    kind: Annotated[str, Meta(description="input or output, overflow or underflow")]


class Driver(_Table, frozen=True, kw_only=True):
    """The table ``[driver]``: what the sound system reported."""

    n_xruns: Annotated[int, Meta(description="gaps that the driver reported")]
    xruns: Annotated[tuple[DriverXrun, ...], Meta(description="the first hundred of them")] = ()


class ExposureFacts(_Table, frozen=True, kw_only=True):
    """The table ``[exposure]``: what it was for the ears, as far as known."""

    duration_s: Annotated[float, Meta(description="how long sweeps sounded, in s")]
    level_dba: Annotated[
        float | None, Meta(description="energy mean at the microphone, in dB(A)")
    ] = None
    day_share: Annotated[
        float | None, Meta(description="share of a day's recommended dose (NIOSH), 1 is all of it")
    ] = None


class Distances(_Table, frozen=True, kw_only=True):
    """The table ``[distances]``, where an input was wired to the output."""

    left_m: Annotated[float, Meta(description="left loudspeaker to microphone, in m")]
    right_m: Annotated[float, Meta(description="right loudspeaker to microphone, in m")]
    std_m: Annotated[
        float, Meta(description="one standard deviation of both, mostly common to them, in m")
    ]


class AirFacts(_Table, frozen=True, kw_only=True):
    """The table ``[air]``."""

    temperature_c: Annotated[float, Meta(description="in degrees Celsius")]
    measured: Annotated[bool, Meta(description="false where it was assumed")]
    relative_humidity_percent: Annotated[float | None, Meta(description="in per cent")] = None


class MicrophoneFacts(_Table, frozen=True, kw_only=True):
    """The table ``[microphone]``."""

    name: Annotated[str | None, Meta(description="as the person calls it")] = None
    correction_file: Annotated[
        str | None, Meta(description="the correction that was used, as it was called then")
    ] = None
    kept_as: Annotated[str | None, Meta(description="its copy beside this file, byte for byte")] = (
        None
    )
    sha256: Annotated[str | None, Meta(description="of that copy")] = None
    file_is: Annotated[
        Literal["response", "correction"] | None,
        Meta(description="what it gives: the microphone's deviation, or what to add"),
    ] = None
    angle_deg: Annotated[
        float | None, Meta(description="the angle that the correction is for, in degrees")
    ] = None


class TakeFacts(msgspec.Struct, frozen=True, kw_only=True):
    """What is known about a take besides its recording.

    Attributes
    ----------
    take : Occasion
    device : Sound
    level : Level
    programme : Played
    driver, exposure, distances, air, microphone
        None where nothing is known.
    """

    take: Occasion
    device: Sound
    level: Level
    programme: Played
    driver: Driver | None = None
    exposure: ExposureFacts | None = None
    distances: Distances | None = None
    air: AirFacts | None = None
    microphone: MicrophoneFacts | None = None


class BegunDocument(_Table, frozen=True, kw_only=True):
    """The whole file of a take that is being made."""

    schema: Annotated[int, Meta(description="version of this format")]
    made_by: Annotated[str, Meta(description="the program that makes the take")]
    take: Occasion
    device: Sound
    level: Level
    programme: Played
    air: AirFacts | None = None
    microphone: MicrophoneFacts | None = None

    @property
    def facts(self) -> TakeFacts:
        """The same as what is known of a take."""
        known = set(self.__struct_fields__) & set(TakeFacts.__struct_fields__)
        return TakeFacts(**{name: getattr(self, name) for name in known})


class TakeDocument(_Table, frozen=True, kw_only=True):
    """The whole file."""

    schema: Annotated[int, Meta(description="version of this format")]
    made_by: Annotated[str, Meta(description="the program that made the take")]
    take: Occasion
    device: Sound
    level: Level
    programme: Played
    recording: Recorded
    driver: Driver | None = None
    exposure: ExposureFacts | None = None
    distances: Distances | None = None
    air: AirFacts | None = None
    microphone: MicrophoneFacts | None = None

    @property
    def facts(self) -> TakeFacts:
        """What isn't about the file itself."""
        return TakeFacts(**{name: getattr(self, name) for name in TakeFacts.__struct_fields__})


def take_document(facts: TakeFacts, recorded: Recorded, *, version: str) -> TakeDocument:
    """Return the content of ``take.toml``.

    Parameters
    ----------
    facts : TakeFacts
    recorded : Recorded
    version : str
        Of this program.

    Returns
    -------
    TakeDocument
    """
    tables = {name: getattr(facts, name) for name in TakeFacts.__struct_fields__}
    return TakeDocument(schema=SCHEMA, made_by=f"apexline {version}", recording=recorded, **tables)


def begun_text(facts: TakeFacts, *, version: str) -> str:
    """Return the text of a file with what is known before the first sample."""
    known = set(BegunDocument.__struct_fields__) & set(TakeFacts.__struct_fields__)
    tables = {name: getattr(facts, name) for name in known}
    content = BegunDocument(schema=SCHEMA, made_by=f"apexline {version}", **tables)
    return _text(content, _HEAD_BEGUN)


def take_text(content: TakeDocument) -> str:
    """Return the file's text: TOML, each key under the comment that says what it is."""
    return _text(content, _HEAD)


def _text(content: TakeDocument | BegunDocument, head: str) -> str:
    """Return a file's text."""
    top, tables = [], []
    for name in content.__struct_fields__:
        value = getattr(content, name)
        if isinstance(value, msgspec.Struct):
            tables.append(_table_text(f"[{name}]", name, value))
        elif value is not None:
            top += _line(content, name)
    return "\n\n".join(["\n".join([head, *top]), *tables]) + "\n"


def _table_text(heading: str, name: str, table: msgspec.Struct) -> str:
    """Return one table; tables within it follow it, as TOML wants."""
    lines, inner = [heading], []
    for key in table.__struct_fields__:
        value = getattr(table, key)
        if isinstance(value, tuple) and value and isinstance(value[0], msgspec.Struct):
            inner += [_table_text(f"[[{name}.{key}]]", f"{name}.{key}", one) for one in value]
        elif value is not None and value != ():
            lines += _line(table, key)
    return "\n\n".join(["\n".join(lines), *inner])


def _line(table: msgspec.Struct, key: str) -> list[str]:
    """Return a key's comment and the key with its value."""
    value = msgspec.to_builtins(getattr(table, key), builtin_types=(datetime,))
    return [f"# {field_comment(type(table), key)}", tomli_w.dumps({key: value}).strip()]


def field_comment(table: type[msgspec.Struct], key: str) -> str:
    """Return the description of a field."""
    (said,) = get_type_hints(table, include_extras=True)[key].__metadata__
    return str(said.description)


def read_begun_toml(path: Path) -> BegunDocument:
    """Read what was known of a take before its first sample.

    Raises
    ------
    TakeError
        If it can't be read, is damaged, or has another schema.
    """
    return read_versioned(
        path,
        BegunDocument,
        kind="begun take",
        newest=SCHEMA,
        error=TakeError,
        what="the beginning of a take",
        hint=HINT,
    )


def read_take_toml(path: Path) -> TakeDocument:
    """Read the facts of a take.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    TakeDocument

    Raises
    ------
    TakeError
        If it can't be read, is damaged, or has another schema.
    """
    return read_versioned(
        path,
        TakeDocument,
        kind="take",
        newest=SCHEMA,
        error=TakeError,
        what="the facts of a take",
        hint=HINT,
    )
