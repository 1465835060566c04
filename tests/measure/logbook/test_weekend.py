"""The invented weekend of sample_data, from the survey to the printed comparison."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]


def test_the_weekend_goes_through_and_finds_what_was_planted(tmp_path: Path) -> None:
    # Known input: how far each right loudspeaker first stood wrong is in the script, and the
    # geometry gives the difference; every move was made as promised.
    pytest.importorskip("rir_generator")
    environment = os.environ | {"APEXLINE_HOME": str(tmp_path / "home"), "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, str(ROOT / "sample_data" / "run_weekend.py"), str(tmp_path / "out")],
        env=environment,
        capture_output=True,
        text=True,
        timeout=200,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    text = done.stdout.replace("\N{MINUS SIGN}", "-")
    listed = re.findall(r"^2026\S+ \S+  (\w+) first .* ([+-][\d.]+) ± [\d.]+ mm$", text, re.M)
    planted = {"Birch": 19.0, "Elm": -11.8, "Oak": -7.3}
    assert {name for name, _ in listed} <= set(planted)
    assert len(listed) == 3
    for name, found in listed:
        assert float(found) == pytest.approx(planted[name], abs=0.6)
    assert text.count("The promise was kept") == 4
    assert "Back to Thursday" in text
    assert "What the tape must read then" in text
    assert "22 whole, 0 unfinished, 0 damaged" in text
    assert "beyond the uncertainty" in text
    page = (tmp_path / "out" / "pairs.html").read_text(encoding="utf-8")
    assert "evenness of the bass" in page
    assert "from 20 Hz to 20 kHz" in page
    assert "left to front wall" in page
    assert "asked by survey-before" in text
    history = (tmp_path / "out" / "history.html").read_text(encoding="utf-8")
    assert "Slide the right loudspeaker" in history
    pages = {path.name for path in (tmp_path / "out").glob("*.html")}
    assert pages == {"pairs.html", "birch.html", "history.html"}
