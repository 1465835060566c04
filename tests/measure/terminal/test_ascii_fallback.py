"""Signs for an old terminal. Truth: the signs that each encoding has (Unicode's tables)."""

from __future__ import annotations

import io
import sys

import pytest

from measure.terminal.ascii_fallback import use_ascii_fallback


@pytest.mark.parametrize(
    ("encoding", "written"),
    [
        ("utf-8", "−23.4 ± 1.4 mm → 20° ♫"),
        ("latin-1", "-23.4 ± 1.4 mm -> 20° ?"),
        ("cp1252", "-23.4 ± 1.4 mm -> 20° ?"),
        ("ascii", "-23.4 +- 1.4 mm -> 20 deg ?"),
    ],
)
def test_a_minus_stays_a_minus(
    encoding: str, written: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Known input: a stream in each encoding.
    raw = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(raw, encoding=encoding))
    monkeypatch.setattr(sys, "stderr", io.TextIOWrapper(io.BytesIO(), encoding=encoding))
    use_ascii_fallback()
    sys.stdout.write("−23.4 ± 1.4 mm → 20° ♫")
    sys.stdout.flush()
    assert raw.getvalue().decode(encoding) == written
