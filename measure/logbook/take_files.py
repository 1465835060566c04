"""Names of a take's files, as `measure.takes.folder` has them.

They stand here once more because that module loads numpy, which costs a list of takes more
than all its own work. A test holds both against each other.
"""

from __future__ import annotations

from typing import Final

FACTS: Final = "take.toml"
READING: Final = "reading.json"
REASON: Final = "unfinished.toml"
REMARKS: Final = "remarks.toml"
MICROPHONE: Final = "microphone.txt"
CUT_OFF: Final = "the program ended before the take was complete"
