"""What can go wrong outside the arithmetic, told to the person.

::

    MeasureError             one sentence; the command ends with exit status 2
    ├── AudioFileError       a recording or sweep that can't be read or written
    ├── SheetError           the sheet of a sweep
    ├── RoomFileError        the room file
    ├── SurveyFileError      the survey file
    ├── MicrophoneFileError  the microphone's correction file
    ├── ReadingFileError     a saved reading
    ├── OutputError          a result that can't be written
    ├── StimulusError        a sweep that would be useless
    ├── UnsafeError          something that could hurt ears or tweeters
    ├── NotHeardError        a recording without the programme
    ├── SoundDeviceError     no way to play or record on this machine
    │   └── DeviceLostError  a device that stopped delivering in the middle
    ├── SettingsError        the person's own settings or state
    ├── TakeError            a take that couldn't be made, or its folder
    │   └── StoppedError     the person stopped it by a key; the exit status is 130
    └── LogbookError         a logbook, or something that it should hold

Every message says what is wrong, in which file or device, and what to do. A wrong
argument of a function is a plain `ValueError` instead.
"""

from __future__ import annotations


class MeasureError(Exception):
    """Something the person can mend; its text is the whole message."""


class AudioFileError(MeasureError):
    """A recording or sweep that can't be read or written."""


class SheetError(MeasureError):
    """The sheet of a sweep is missing, damaged, or another's."""


class RoomFileError(MeasureError):
    """The room file can't be used."""


class SurveyFileError(MeasureError):
    """The survey file can't be used."""


class MicrophoneFileError(MeasureError):
    """The microphone's correction file can't be used."""


class ReadingFileError(MeasureError):
    """A saved reading can't be used."""


class OutputError(MeasureError):
    """A result can't be written."""


class StimulusError(MeasureError):
    """A sweep that would be useless was asked for."""


class UnsafeError(MeasureError):
    """Something that could hurt ears or tweeters was asked for without its flag."""


class NotHeardError(MeasureError):
    """The programme isn't in the recording."""


class SoundDeviceError(MeasureError):
    """There is no way to play or record on this machine."""


class NoMicrophoneError(SoundDeviceError):
    """Every input here records what the computer plays."""


class DeviceLostError(SoundDeviceError):
    """A device stopped delivering in the middle."""


class SettingsError(MeasureError):
    """The person's settings, or what the program remembers, can't be used."""


class TakeError(MeasureError):
    """A take couldn't be made, or its folder can't be used."""


class StoppedError(TakeError):
    """The person stopped what was playing."""


class LogbookError(MeasureError):
    """A logbook, or something that it should hold, can't be used."""
