"""The sound device; the only module that knows the sound library, and imports it late.

On Linux the library needs PortAudio, which comes from the system's packages. Without it
everything that works on files still works.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from measure.errors import SoundDeviceError

HOW_TO_GET_PORTAUDIO = (
    "the system's PortAudio library is missing (on Debian and Ubuntu: apt install "
    "libportaudio2); sweeps can still be made and recordings read"
)


@dataclass(frozen=True, kw_only=True, slots=True)
class SoundDevices:
    """What this machine can play and record with.

    Attributes
    ----------
    inputs, outputs : tuple of str
        Names of the devices with at least one channel in that direction.
    """

    inputs: tuple[str, ...]
    outputs: tuple[str, ...]


def sound_library() -> Any:
    """Return the sound library.

    Raises
    ------
    SoundDeviceError
        If it, or the PortAudio library below it, isn't installed.
    """
    try:
        import sounddevice
    except OSError as problem:
        raise SoundDeviceError(HOW_TO_GET_PORTAUDIO) from problem
    except ImportError as problem:
        msg = "the Python package sounddevice isn't installed; install apexline again"
        raise SoundDeviceError(msg) from problem
    return sounddevice


def sound_devices() -> SoundDevices:
    """Return the devices of this machine.

    Returns
    -------
    SoundDevices

    Raises
    ------
    SoundDeviceError
        If the sound library is missing or can't be asked.
    """
    library = sound_library()
    try:
        found = library.query_devices()
    except library.PortAudioError as problem:
        msg = f"the sound system doesn't answer ({problem}): is it running?"
        raise SoundDeviceError(msg) from problem
    return SoundDevices(
        inputs=tuple(each["name"] for each in found if each["max_input_channels"] > 0),
        outputs=tuple(each["name"] for each in found if each["max_output_channels"] > 0),
    )
