"""The sentence on how loud a take was."""

from __future__ import annotations

import re

import pytest

from analysis.report.sound_level import exposure_line
from analysis.signals.sound_level import Calibration, RecordedLevel, exposure_of


def line(mean_db: float, highest_db: float, *, seconds: float = 33.5, std_db: float = 2.0) -> str:
    level = RecordedLevel(duration_s=seconds, mean_db=mean_db, highest_db=highest_db)
    return exposure_line(exposure_of(level, Calibration(full_scale_dba=110.0, std_db=std_db)))


def test_the_sentence_has_level_shares_and_sources() -> None:
    # Closed form: 25 s at 85 dB(A) are 25/28800 of a day, 0.087 %, and by 2 dB either way
    # 0.055 to 0.138; of a week 25/144000 times 10^0.5.
    said = line(-25.0, -20.0, seconds=25.0)
    assert said.startswith("Sound level at the microphone: 85 ± 2 dB(A) over 25 s, 90 ± 2 dB(A)")
    assert "0.09 % (0.05 to 0.14 %) of a day by NIOSH" in said
    assert "0.05 % (0.03 to 0.09 %) of a week by WHO and ITU-T H.870" in said
    assert "75 dB(A): 0.17 % (0.11 to 0.28 %)" in said
    assert "turn it down" in said


def test_a_quiet_take_warns_of_nothing() -> None:
    said = line(-50.0, -45.0)
    assert "60 ± 2 dB(A)" in said
    assert said.count("less than 0.01 %") == 3
    assert "turn it down" not in said


@pytest.mark.parametrize(("mean_db", "percent"), [(-5.0, "12 %"), (-10.0, "3.7 %")])
def test_a_loud_one_says_how_much(mean_db: float, percent: str) -> None:
    # Closed form: 33.5 s of 480 min, 2 to the (L - 85)/3.
    assert percent in re.split("That is", line(mean_db, 0.0))[1].split(" (")[0]


def test_without_a_calibration_it_says_how_to_get_one() -> None:
    said = exposure_line(None)
    assert "unknown" in said
    assert "sound level meter" in said
