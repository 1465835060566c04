"""What ``take.toml`` will say of a take, gathered from what was asked, played and found."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import datetime
from hashlib import sha256
from typing import TYPE_CHECKING, Final

import msgspec

from measure.takes.facts import (
    AirFacts,
    Distances,
    Driver,
    DriverXrun,
    ExposureFacts,
    Level,
    MicrophoneFacts,
    Occasion,
    Played,
    RepeatedPass,
    Sound,
    TakeFacts,
)
from measure.takes.names import MICROPHONE

if TYPE_CHECKING:
    from analysis.pair.wired_reference import AbsoluteDistances
    from analysis.signals.programme import Programme
    from analysis.signals.sound_level import Exposure
    from measure.sound.path import SoundPath
    from measure.takes.conditions import Conditions
    from measure.takes.level_check import LevelFound
    from measure.takes.run import Recorded

MOST_XRUNS: Final = 100


@dataclass(frozen=True, kw_only=True, slots=True)
class Labels:
    """What the person calls it: the take, pair, room and place."""

    name: str
    pair: str | None
    room: str | None
    place: str | None


def describe_begun(
    programme: Programme,
    *,
    labels: Labels,
    started: datetime,
    sound: Sound,
    conditions: Conditions,
    level: LevelFound | None,
    confirmed: bool | None,
) -> TakeFacts:
    """Return what is known of a take before its first sample.

    Parameters
    ----------
    programme : Programme
        As planned.
    labels : Labels
    started : datetime
        With its offset.
    sound : Sound
    conditions : Conditions
    level : LevelFound or None
        None where the level check was skipped.
    confirmed : bool or None
        Whether the person said which loudspeaker sounded.

    Returns
    -------
    TakeFacts
    """
    air = conditions.air
    return TakeFacts(
        take=Occasion(started=started, **asdict(labels)),
        device=sound,
        level=Level(
            level_dbfs=programme.sweep.level_dbfs,
            noise_dbfs=None if level is None else level.noise_dbfs,
            snr_db=None if level is None else level.snr_db,
            sides_confirmed=confirmed,
        ),
        programme=played_facts(programme, ()),
        air=AirFacts(
            temperature_c=air.temperature_c,
            measured=conditions.air_measured,
            relative_humidity_percent=air.relative_humidity_percent,
        ),
        microphone=microphone_facts(conditions),
    )


def describe_recorded(
    begun: TakeFacts,
    recorded: Recorded,
    *,
    exposure: Exposure | None,
    distances: AbsoluteDistances | None,
) -> TakeFacts:
    """Return the facts of a take that was recorded to its end.

    Parameters
    ----------
    begun : TakeFacts
        What was known before its first sample.
    recorded : Recorded
    exposure : Exposure or None
    distances : AbsoluteDistances or None

    Returns
    -------
    TakeFacts
    """
    return msgspec.structs.replace(
        begun,
        programme=played_facts(recorded.programme, recorded.repeated),
        driver=_driver_facts(recorded),
        exposure=_exposure_facts(recorded, exposure),
        distances=None if distances is None else Distances(**asdict(distances)),
    )


def played_facts(programme: Programme, repeated: tuple[int, ...]) -> Played:
    """Return what was played, and what of it again.

    Parameters
    ----------
    programme : Programme
        With the passes that were played again, at its end.
    repeated : tuple of int
        Which they are, from 1.

    Returns
    -------
    Played
    """
    n_planned = len(programme.order) - len(repeated)
    again = [
        RepeatedPass(
            number=number,
            side=programme.order[number - 1],
            at_frame=round(programme.starts_s[n_planned + at] * programme.sample_rate_hz),
            reason="foreign sound, or samples lost",
        )
        for at, number in enumerate(repeated)
    ]
    planned = programme.order[:n_planned]
    return Played(planned_order=planned, played_order=programme.order, repeated=tuple(again))


def _driver_facts(recorded: Recorded) -> Driver:
    """Return what the driver reported."""
    return Driver(
        n_xruns=len(recorded.xruns),
        xruns=tuple(
            DriverXrun(frame=one.frame, kind=one.kind) for one in recorded.xruns[:MOST_XRUNS]
        ),
    )


def _exposure_facts(recorded: Recorded, exposure: Exposure | None) -> ExposureFacts:
    """Return the same for ``take.toml``."""
    programme = recorded.programme
    return ExposureFacts(
        duration_s=len(programme.order) * programme.sweep.duration_s,
        level_dba=None if exposure is None else exposure.mean_dba,
        day_share=None if exposure is None else exposure.niosh_day,
    )


def microphone_facts(around: Conditions) -> MicrophoneFacts | None:
    """Return what is known of the microphone, and by what its kept correction is told."""
    said = around.microphone_document
    if said is None:
        return None
    raw = b"" if around.microphone is None else around.microphone.raw
    return MicrophoneFacts(
        correction_file=said["file"],
        kept_as=MICROPHONE if raw else None,
        sha256=sha256(raw).hexdigest() if raw else None,
        file_is=said["file_is"],
        angle_deg=said["incidence_deg"],
    )


def sound_facts(path: SoundPath) -> Sound:
    """Return what a take keeps about the way of its sound."""
    from measure.sound.portaudio import DevicePath

    if not isinstance(path, DevicePath):
        return Sound(path=path.name, sample_rate_hz=path.sample_rate_hz, simulated=True)
    wiring = path.wiring
    inputs = wiring.input_channels
    return Sound(
        path=path.name,
        sample_rate_hz=path.sample_rate_hz,
        host=wiring.play.host,
        output=wiring.play.name,
        input=wiring.record.name,
        output_channels=wiring.output_channels,
        input_channel=inputs[0],
        reference_channel=inputs[1] if len(inputs) > 1 else None,
    )
