"""Impulse responses of a take as AES69 (SOFA), convention SingleRoomSRIR.

Conventions: two measurements, left then right, of one receiver, which is the listener. Where
the take's place is kept in the logbook, its coordinates are used as they are: x from the left
wall, y from the front wall, z from the floor, which is right-handed as AES69 wants it. What
isn't known is NaN, and the comment says so: no number stands for a position that nobody
measured. Names of fields: AES69-2022 (second-hand, from the library sofar).
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.metadata import version
from math import cos, hypot, nan, radians, sin
from pathlib import Path
from typing import Any, Final

from measure.errors import LogbookError, OutputError
from measure.files.audio_files import read_sound
from measure.files.output import write_whole
from measure.logbook.entries.entries import PlaceEntry
from measure.logbook.folder import Logbook
from measure.takes.facts import TakeFacts
from measure.takes.stored import read_take

Triple = tuple[float, float, float]

UNKNOWN: Final[Triple] = (nan, nan, nan)
_UP: Final[Triple] = (0.0, 0.0, 1.0)
_KELVIN_C: Final = 273.15

_LEFT_OUT: Final = (
    *("RoomVolume", "RoomVolume_Units", "RoomCornerA", "RoomCornerB", "RoomCorners"),
    *("RoomCorners_Type", "RoomCorners_Units"),
    *(
        f"{one}{what}"
        for one in ("Receiver", "Emitter")
        for what in ("View", "Up", "View_Type", "View_Units", "Descriptions")
    ),
)
"""Optional fields for which the library has figures of its own, which are nobody's room."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Stand:
    """Where things stood and looked, as AES69 has them; NaN where that isn't known.

    Attributes
    ----------
    listener_m, listener_view : tuple of float
        The view is level, towards the middle of the pair.
    sources_m, source_views : tuple of two tuples of float
        Left, right; the views are level.
    """

    listener_m: Triple = UNKNOWN
    listener_view: Triple = UNKNOWN
    sources_m: tuple[Triple, Triple] = (UNKNOWN, UNKNOWN)
    source_views: tuple[Triple, Triple] = (UNKNOWN, UNKNOWN)


def stand_of(place: PlaceEntry | None) -> Stand:
    """Return where a place's things stand and look.

    Parameters
    ----------
    place : PlaceEntry or None

    Returns
    -------
    Stand

    Notes
    -----
    The line from the middle of the pair to the seat, levelled, has the direction ``c``; ``n``
    is level, at right angles to it, from the left loudspeaker to the right one. With the
    toe-in ``t``, the left one looks along ``c cos t + n sin t``, the right one along
    ``c cos t - n sin t``.
    """
    if place is None:
        return Stand()
    seat, left, right = (one or UNKNOWN for one in (place.seat_m, place.left_m, place.right_m))
    centre = _level(*(seat[axis] - (left[axis] + right[axis]) / 2 for axis in (0, 1)))
    across = (centre[1], -centre[0])
    if across[0] * (right[0] - left[0]) + across[1] * (right[1] - left[1]) < 0:
        across = (-across[0], -across[1])
    toes = place.left_toe_in_deg, place.right_toe_in_deg
    left_view, right_view = (
        UNKNOWN if toe_deg is None else _turn_direction(centre, across, sign * toe_deg)
        for toe_deg, sign in zip(toes, (1, -1), strict=True)
    )
    return Stand(
        listener_m=seat,
        listener_view=_known((-centre[0], -centre[1], 0.0)),
        sources_m=(left, right),
        source_views=(left_view, right_view),
    )


def _level(x: float, y: float) -> tuple[float, float]:
    """Return a level direction of length 1; NaN where there is none."""
    length = hypot(x, y)
    return (x / length, y / length) if length > 0 else (nan, nan)


def _turn_direction(
    along: tuple[float, float], across: tuple[float, float], turn_deg: float
) -> Triple:
    """Return a direction turned from one towards another."""
    a, b = cos(radians(turn_deg)), sin(radians(turn_deg))
    return _known((a * along[0] + b * across[0], a * along[1] + b * across[1], 0.0))


def _known(found: Triple) -> Triple:
    """Return a direction, all NaN if part of it is."""
    return UNKNOWN if any(one != one for one in found) else found


def place_of(logbook: Logbook, take: TakeFacts) -> PlaceEntry | None:
    """Return the place that a take names; None where the logbook keeps none of that name."""
    from measure.logbook.entries.store import ENTRY, folder_of, read_entry_file
    from measure.logbook.names import entry_folder_name, same_folder

    name = take.take.place
    if not name or not name.strip():
        return None
    found = same_folder(folder_of(logbook, PlaceEntry), entry_folder_name(name, kind="place"))
    return None if found is None else read_entry_file(found / ENTRY, PlaceEntry)


def write_sofa(logbook: Logbook, take: Path, responses: Path, target: Path) -> str:
    """Write the impulse responses of a take as AES69.

    Parameters
    ----------
    logbook : Logbook
        In which the take's place is looked up.
    take : Path
        Its folder.
    responses : Path
        Its impulse responses, left and right.
    target : Path
        Not there yet.

    Returns
    -------
    str
        What isn't known in it, one sentence; empty where all is.

    Raises
    ------
    LogbookError
        If the library isn't installed, or the place is damaged.
    OutputError
        If `target` can't be written, or its name doesn't end in ``.sofa``.
    """
    try:
        import sofar
    except ImportError as problem:
        msg = "AES69 needs the library sofar: install it, or write WAV with --responses"
        raise LogbookError(msg) from problem
    if target.suffix != ".sofa":
        msg = f"{target} must end in .sofa"
        raise OutputError(msg)
    facts = read_take(take, verify=False).facts
    place = place_of(logbook, facts)
    stand = stand_of(place)
    sound = read_sound(responses)
    sofa = sofar.Sofa("SingleRoomSRIR", verify=False)
    for name in _LEFT_OUT:
        sofa.delete(name)
    sofa.Data_IR = sound.samples[:, None, :]
    sofa.Data_SamplingRate = float(sound.sample_rate_hz)
    sofa.Data_Delay = [[0.0], [0.0]]
    _fill_stand(sofa, stand)
    unknown = _unknown(stand, facts, place)
    std_m = None if place is None else place.std_m
    _fill_words(sofa, facts, _sure(std_m) + unknown)
    sofa.verify(mode="write", issue_handling="raise")

    def write(temporary: Path) -> None:
        temporary.unlink()  # the library takes an existing file for a damaged one
        sofar.write_sofa(temporary, sofa)

    write_whole(target, write)
    return unknown


def _fill_stand(sofa: Any, stand: Stand) -> None:
    """Write where things stood; the receiver is where the listener is, the emitters alike."""
    sofa.ListenerPosition = [stand.listener_m] * 2
    sofa.ListenerView = [stand.listener_view] * 2
    sofa.ListenerUp = [_UP] * 2
    sofa.SourcePosition = list(stand.sources_m)
    sofa.SourceView = list(stand.source_views)
    sofa.SourceUp = [_UP] * 2
    for one in ("Receiver", "Emitter"):
        setattr(sofa, f"{one}Position", [[0.0, 0.0, 0.0]])
        setattr(sofa, f"{one}Position_Type", "cartesian")
        setattr(sofa, f"{one}Position_Units", "metre")


def _unknown(stand: Stand, facts: TakeFacts, place: PlaceEntry | None) -> str:
    """Return what isn't known of the positions."""
    named = {
        "the seat's position": (stand.listener_m,),
        "the loudspeakers' positions": stand.sources_m,
        "the seat's view": (stand.listener_view,),
        "the loudspeakers' toe-in": stand.source_views,
    }
    missing = [
        what for what, found in named.items() if any(one != one for one in sum(found, start=()))
    ]
    if not missing:
        return ""
    why = (
        "the take names no place"
        if not facts.take.place
        else "the logbook keeps no place of the take's name"
        if place is None
        else "the place doesn't say"
    )
    return f"Not known and NaN here, since {why}: {', '.join(missing)}."


def _sure(std_m: float | None) -> str:
    """Return how well the coordinates are known."""
    return "" if std_m is None else f"Each coordinate ± {std_m * 1e3:.1f} mm (one sigma). "


def _fill_words(sofa: Any, facts: TakeFacts, positions: str) -> None:
    """Write names, dates and the comment."""
    take = facts.take
    made = f"{take.started:%Y-%m-%d %H:%M:%S}"
    comment = "Measurement 1 is the left loudspeaker, 2 the right one; time 0 is common to both. "
    comment += "Metres; x from the left wall, y from the front wall, z from the floor. "
    if facts.device.simulated:
        comment += "Made in a simulated room: invented. "
    if facts.distances is not None:
        one = facts.distances
        comment += f"By sound, left {one.left_m:.3f} m and right {one.right_m:.3f} m from the "
        comment += f"microphone, both ± {one.std_m:.3f} m. "
    sofa.GLOBAL_Comment = (comment + positions).strip()
    sofa.GLOBAL_Title = f"{take.name}: left and right loudspeaker at the seat"
    sofa.GLOBAL_DateCreated = sofa.GLOBAL_DateModified = made
    sofa.GLOBAL_RoomType = "reverberant"
    sofa.GLOBAL_DatabaseName = "logbook"
    sofa.GLOBAL_ApplicationName = "Apexline"
    sofa.GLOBAL_ApplicationVersion = version("apexline")
    sofa.GLOBAL_RoomShortName = take.room or ""
    sofa.GLOBAL_SourceShortName = take.pair or ""
    sofa.MeasurementDate = [take.started.timestamp()] * 2
    if facts.air is not None and facts.air.measured:
        sofa.RoomTemperature = facts.air.temperature_c + _KELVIN_C
    else:
        sofa.delete("RoomTemperature")
        sofa.delete("RoomTemperature_Units")
