"""What the person chose once and for all: devices, channels, microphone file.

Kept as ``settings.toml`` in the configuration folder (`measure.files.system`), never
beside a measurement. It is a plain text that may be edited by hand.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

import msgspec
import tomli_w

from measure.errors import SettingsError
from measure.files.output import text_writer, write_whole
from measure.files.system import config_folder
from measure.files.toml_file import read_toml

_HEAD: Final = "# Apexline's settings, written by `apexline devices`; edit or delete as you like.\n"


class Settings(msgspec.Struct, forbid_unknown_fields=True, kw_only=True, frozen=True):
    """The settings; what isn't set is None.

    Attributes
    ----------
    play, record : str or None
        Device names, as `measure.sound.devices.choose` takes them.
    play_channels : tuple of int or None
        Left and right, from 1.
    record_channel : int or None
        The microphone's, from 1.
    reference_channel : int or None
        Input wired to the left output, from 1.
    rate_hz : int or None
    """

    play: str | None = None
    record: str | None = None
    play_channels: tuple[int, int] | None = None
    record_channel: int | None = None
    reference_channel: int | None = None
    rate_hz: int | None = None


def settings_path() -> Path:
    """Return where the settings are kept."""
    return config_folder() / "settings.toml"


def read_settings() -> Settings:
    """Return the settings; empty ones where none were kept.

    Raises
    ------
    SettingsError
        If the file can't be read or understood.
    """
    path = settings_path()
    if not path.exists():
        return Settings()
    hint = "mend it, or delete it and choose again"
    return read_toml(path, Settings, error=SettingsError, what="the settings", hint=hint)


def write_settings(settings: Settings) -> Path:
    """Keep the settings and return where.

    Raises
    ------
    SettingsError
        If their folder can't be made.
    OutputError
        If the file can't be written.
    """
    path = settings_path()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        msg = f"can't make the folder {path.parent} for the settings ({problem.strerror}): check "
        msg += "its rights"
        raise SettingsError(msg) from problem
    table = {
        key: value for key, value in msgspec.to_builtins(settings).items() if value is not None
    }
    write_whole(path, text_writer(_HEAD + tomli_w.dumps(table)))
    return path
