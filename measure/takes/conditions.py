"""What is known around a recording: air, room and microphone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analysis.basics.air import Air
    from analysis.room.room import Positions, Room
    from measure.files.microphone import Microphone
    from measure.files.output import JsonObject
    from measure.files.room_file import RoomFile


@dataclass(frozen=True, kw_only=True, slots=True)
class MicrophoneFile:
    """A microphone's file, and what the person says of it.

    Attributes
    ----------
    path : Path
    holds : str
        ``response`` or ``correction``.
    incidence_deg : int or None
        The angle for which it holds.
    """

    path: Path
    holds: str
    incidence_deg: int | None = None


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Conditions:
    """What is known around a recording.

    Attributes
    ----------
    air : Air
    air_measured : bool
        Whether somebody looked at a thermometer.
    room : tuple of (Room, Positions) or None
    microphone : Microphone or None
    microphone_document : mapping or None
        What the JSON says of it.
    """

    air: Air
    air_measured: bool
    room: tuple[Room, Positions] | None
    microphone: Microphone | None
    microphone_document: Mapping[str, Any] | None


def known_conditions(
    room: RoomFile | None,
    *,
    temperature_c: float | None = None,
    humidity_percent: float | None = None,
    microphone: MicrophoneFile | None = None,
) -> Conditions:
    """Return what is known around a recording, by a room file or by the air alone.

    Parameters
    ----------
    room : RoomFile or None
        With the air and the places that hold.
    temperature_c, humidity_percent : float or None
        Of the air, without a room file.
    microphone : MicrophoneFile, optional

    Returns
    -------
    Conditions

    Raises
    ------
    MicrophoneFileError
        If the microphone's file can't be used.
    ValueError
        If the air can't be as told.
    """
    found = None if microphone is None else _read_microphone(microphone)
    return Conditions(
        air=_air(temperature_c, humidity_percent) if room is None else room.air,
        air_measured=room is not None or temperature_c is not None,
        room=None if room is None else (room.room, room.positions),
        microphone=found,
        microphone_document=None
        if microphone is None or found is None
        else _microphone_document(found, microphone),
    )


def _air(temperature_c: float | None, humidity_percent: float | None) -> Air:
    """Return the air as told, or as it usually is."""
    from analysis.basics.air import DEFAULT_TEMPERATURE_C, DEFAULT_TEMPERATURE_STD_C, air_at
    from measure.files.room_file import THERMOMETER_STD_C

    if temperature_c is None:
        temperature_c, std_c = DEFAULT_TEMPERATURE_C, DEFAULT_TEMPERATURE_STD_C
    else:
        std_c = THERMOMETER_STD_C
    return air_at(
        temperature_c, temperature_std_c=std_c, relative_humidity_percent=humidity_percent
    )


def _read_microphone(file: MicrophoneFile) -> Microphone:
    """Read the microphone's correction."""
    from measure.files.microphone import read_microphone

    return read_microphone(file.path, holds=file.holds, incidence_deg=file.incidence_deg)


def _microphone_document(microphone: Microphone, file: MicrophoneFile) -> JsonObject:
    """Return what is known of the microphone, for the JSON."""
    from measure.files.microphone import PRINTED_HZ

    return {
        "file": file.path.name,
        "file_is": file.holds,
        "incidence_deg": microphone.incidence_deg,
        "applied_db": [
            {"frequency_hz": at_hz, "correction_db": microphone.at_db(at_hz)}
            for at_hz in PRINTED_HZ
        ],
    }
