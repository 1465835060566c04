"""docs/live.md says what the program does. Truth: the constants."""

from __future__ import annotations

from pathlib import Path

import pytest

from analysis.recording.play_level import BAND_HZ, STEP_DB, WANTED_DB
from measure.safety import limits as safety
from measure.sound import path as sound
from measure.sound import portaudio, watch
from measure.takes import level_check
from measure.takes import run as take_run

PAGE = Path(__file__).parents[3] / "docs" / "live.md"


@pytest.mark.parametrize(
    "said",
    [
        f"noise of {BAND_HZ[0]:.0f} to {BAND_HZ[1]:.0f} Hz",
        f"at first at −{-level_check.FIRST_PEAK_DBFS:.0f} dBFS",
        f"louder by at most {STEP_DB:.0f} dB",
        f"will stand {WANTED_DB:.0f} dB above",
        f"above −{-safety.SAFE_LEVEL_DBFS:.0f} dBFS",
        f"−{-safety.CAP_DBFS:.0f} dBFS",
        f"within {sound.STOP_WITHIN_S * 1e3:.0f} ms",
        f"clips ({watch.FEWEST_CLIPPED} samples at full scale)",
        f"zeros from the microphone for {watch.SILENT_S:.0f} s",
        f"| {watch.STORM_XRUNS} gaps reported within {watch.STORM_S:.0f} s",
        f"delivers nothing for {portaudio.STALL_S:.0f} s",
        {2: "at most two"}[take_run.MOST_REPEATS],
    ],
)
def test_the_page_has_the_program_s_figures(said: str) -> None:
    assert said in " ".join(PAGE.read_text(encoding="utf-8").split())
