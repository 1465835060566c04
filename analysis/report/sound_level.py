"""One sentence on how loud it was and what that is of a day's or a week's dose.

Conventions: ``±`` is one standard deviation. Shares carry the range that it makes of them.
"""

from __future__ import annotations

from typing import Final

from analysis.report import format as fmt
from analysis.signals.sound_level import Exposure

LOUD_DBA: Final = 85.0
"""From here on a take is far louder than a reading needs: NIOSH's limit for a day's work."""

UNKNOWN: Final = (
    "Sound level at the microphone: unknown, since nobody told what full scale means here. Hold "
    "a sound level meter (A, slow) beside the microphone during a take, and add --ask-meter."
)


def exposure_line(exposure: Exposure | None) -> str:
    """Return the sentence; without a calibration, how to get one.

    Parameters
    ----------
    exposure : Exposure or None
        None where the microphone isn't calibrated.

    Returns
    -------
    str
        Not wrapped.
    """
    if exposure is None:
        return UNKNOWN
    std_db = exposure.std_db
    spread = 10 ** (std_db / 10)
    shares = [
        _share_text(share, spread)
        for share in (exposure.niosh_day, exposure.who_week, exposure.who_child_week)
    ]
    text = (
        f"Sound level at the microphone: {_dba_text(exposure.mean_dba, std_db)} over "
        f"{fmt.number(exposure.duration_s, places=0)} s, "
        f"{_dba_text(exposure.highest_dba, std_db)} in the loudest second. That is {shares[0]} of "
        f"a day by NIOSH 98-126 (85 dB(A) for 8 h), {shares[1]} of a week by WHO and ITU-T H.870 "
        f"(80 dB(A) for 40 h; for children 75 dB(A): {shares[2]})."
    )
    if exposure.highest_dba + std_db >= LOUD_DBA:
        text += " Far louder than a reading needs: turn it down, or leave the room."
    return text


def _dba_text(level_dba: float, std_db: float) -> str:
    """Return a sound level in whole decibels with its uncertainty."""
    return f"{fmt.number(level_dba, places=0)} ± {fmt.number(max(std_db, 1.0), places=0)} dB(A)"


def _share_text(share: float, spread: float) -> str:
    """Return a share in per cent with the range that one sigma makes of it."""
    if share * spread < 1e-4:
        return "less than 0.01 %"
    low, high = _percent_text(share / spread), _percent_text(share * spread)
    return f"{_percent_text(share)} % ({low} to {high} %)"


def _percent_text(share: float) -> str:
    """Return a share in per cent with two digits, never finer than a hundredth."""
    percent = 100 * share
    if percent >= 10:
        return f"{percent:.0f}"
    return f"{percent:.1f}" if percent >= 1 else f"{percent:.2f}"
