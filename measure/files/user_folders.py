"""Where this program keeps what belongs to the person and not to a measurement.

The platform's own folders for settings and for state; never the working directory. The
environment variable ``APEXLINE_HOME`` names one folder for both instead, for trying things
out and for tests.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

VARIABLE: Final = "APEXLINE_HOME"


def config_folder() -> Path:
    """Return the folder for settings; it may not exist yet."""
    chosen = _chosen()
    if chosen is not None:
        return chosen
    import platformdirs

    return platformdirs.user_config_path("apexline", appauthor=False)


def state_folder() -> Path:
    """Return the folder for what the program itself remembers; it may not exist yet."""
    chosen = _chosen()
    if chosen is not None:
        return chosen
    import platformdirs

    return platformdirs.user_state_path("apexline", appauthor=False)


def _chosen() -> Path | None:
    """Return the folder that the environment names, if it does."""
    named = os.environ.get(VARIABLE)
    return Path(named) if named else None
