"""docs/safety.md says what the constants are, and derives the caps as it says.

The truth is the constants, and arithmetic done here from the page's own assumptions.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from measure.safety import limits as safety
from measure.safety import treble_account
from measure.safety.limits import CAP_DBFS, SAFE_LEVEL_DBFS
from measure.safety.treble_account import LONG_CAP, LONG_WINDOW_S, SHORT_CAP, SHORT_WINDOW_S
from measure.sound import emitter

PAGE = (Path(__file__).parents[3] / "docs" / "safety.md").read_text(encoding="utf-8")

COIL_J_K = 0.12e-3 * 385
"""Mass by specific heat."""

K_W = 150 / 5
"""Rise that it stands, over power that it stands."""


def numbers(text: str) -> list[float]:
    return [float(n) for n in re.findall(r"-?\d+(?:\.\d+)?", text.replace("−", "-"))]


def cells(row: str) -> list[str]:
    """Return the cells after a row's first, for the rows that start so."""
    rows = re.findall(rf"^\| {re.escape(row)} \| (.+) \|$", PAGE, re.MULTILINE)
    return [cell for found in rows for cell in found.split(" | ")]


def test_each_limit_in_the_table_is_the_constant() -> None:
    rows = re.findall(r"^\| `([A-Z_]+)` \| ([^|]+) \|", PAGE, re.MULTILINE)
    assert len(rows) == 8
    for name, said in rows:
        owner = next(m for m in (safety, treble_account, emitter) if hasattr(m, name))
        value = numbers(said.replace("FS²", "FS"))
        assert value == [getattr(owner, name)], name


@pytest.mark.parametrize(
    ("row", "per_watt"),
    [
        ("a sine at −20 dBFS", [10 ** (SAFE_LEVEL_DBFS / 10)]),
        ("a sine at the peak cap", [10 ** (CAP_DBFS / 10)]),
        ("its rise in the end", [K_W * 10 ** (db / 10) for db in (SAFE_LEVEL_DBFS, CAP_DBFS)]),
        (
            "its rise when the 10 s cap is spent, after 3.8 s",
            [K_W * 10 ** (CAP_DBFS / 10) * (1 - np.exp(-3.8 / (COIL_J_K * K_W)))],
        ),
        ("mean power over 10 s at the cap", [2 * SHORT_CAP / SHORT_WINDOW_S]),
        ("mean power over 10 min at the cap", [2 * LONG_CAP / LONG_WINDOW_S]),
    ],
)
def test_the_derivation_follows_from_the_constants(row: str, per_watt: list[float]) -> None:
    # Closed form: a heat store of one time constant; each row for three volume settings, to
    # the digits that are shown.
    volumes_w = [numbers(cell)[0] for cell in cells("a full-scale sine")]
    assert volumes_w == [2.5, 10, 100]
    expected = [each * volume for each in per_watt for volume in volumes_w]
    shown = [re.findall(r"[\d.]+", cell)[0] for cell in cells(row)]
    for text, value in zip(shown, expected, strict=True):
        n_decimals = len(text.partition(".")[2])
        assert abs(float(text) - value) <= 0.5 * 10**-n_decimals * 1.001, (row, value)


def test_the_prose_has_the_same_figures() -> None:
    # Closed form, each figure worked out anew.
    assert f"{1 / COIL_J_K:.1f} K" in PAGE
    assert f"each watt warms it by {K_W:.0f} K" in PAGE
    assert f"time constant of {COIL_J_K * K_W:.1f} s" in PAGE
    spent_s = SHORT_CAP / (10 ** (CAP_DBFS / 10) / 2)
    assert f"after {spent_s:.1f} s" in PAGE
    level_db = 87 - 6 + 10 * np.log10(2.5) + SAFE_LEVEL_DBFS
    assert f"about {level_db:.0f} dB, the" in PAGE.replace("\n  ", " ")
    factor = 150 / (K_W * 10 ** (CAP_DBFS / 10) * 10)
    assert f"a factor of {np.rint(factor):.0f} to" in PAGE
    # A steady tone at the usual level keeps the 10 s cap over the window that is checked.
    checked_s = SHORT_WINDOW_S + treble_account.HOLD_S + 2 * treble_account.BIN_S
    assert 10 ** (SAFE_LEVEL_DBFS / 10) / 2 * checked_s < SHORT_CAP


def test_the_coil_weighs_what_its_assumed_wire_does() -> None:
    # Closed form: mass = density × length² × resistivity / resistance, of 27 turns of 25 mm.
    length_m = 27 * np.pi * 0.025
    mass_g = 1e3 * 8960 * 1.72e-8 * length_m**2 / 5.6
    assert f"its {length_m:.1f} m weigh {mass_g:.2f} g" in PAGE.replace("\n  ", " ")


def test_no_caution_says_a_level_that_is_not_played() -> None:
    # A programme peaks at SAFE_LEVEL_DBFS, so nothing before it may say full level or scale.
    root = Path(__file__).parents[3]
    shown = [root / "README.md", *sorted((root / "measure" / "data").glob("cautions*.txt"))]
    assert len(shown) == 4
    for page in shown:
        assert "full level" not in page.read_text(encoding="utf-8"), page
