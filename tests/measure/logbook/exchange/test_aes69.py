"""Positions in AES69: from the take's place, or said not to be known."""

from __future__ import annotations

from datetime import UTC, datetime
from math import cos, radians, sin, sqrt
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from measure import cli
from measure.logbook.entries.entries import PlaceEntry
from measure.logbook.entries.store import add_entry
from measure.logbook.exchange.aes69 import UNKNOWN, Stand, stand_of
from measure.logbook.folder import Logbook

NOW = datetime(2026, 3, 1, 20, 15, tzinfo=UTC)
PLACE = PlaceEntry(
    name="by the window",
    written=NOW,
    left_m=(1.0, 0.9, 1.0),
    right_m=(3.0, 0.9, 1.1),
    seat_m=(2.0, 3.3, 1.2),
    std_m=0.0015,
    left_toe_in_deg=30.0,
    right_toe_in_deg=0.0,
)


def test_views_follow_from_the_positions_and_the_toe_in() -> None:
    # Closed form: the seat is straight behind, so inward is to the right for the left one.
    stand = stand_of(PLACE)
    assert (stand.listener_m, stand.sources_m) == (PLACE.seat_m, (PLACE.left_m, PLACE.right_m))
    np.testing.assert_allclose(stand.listener_view, (0, -1, 0), atol=1e-12)
    np.testing.assert_allclose(stand.source_views[0], (0.5, sqrt(3) / 2, 0), atol=1e-12)
    np.testing.assert_allclose(stand.source_views[1], (0, 1, 0), atol=1e-12)


@pytest.mark.parametrize("turn_deg", [37.0, 90.0, 201.0])
def test_a_turned_room_turns_the_views_and_nothing_else(turn_deg: float) -> None:
    # Invariant: all positions turned about the vertical.
    a, b = cos(radians(turn_deg)), sin(radians(turn_deg))

    def turned(one: Any) -> tuple[float, float, float]:
        return (a * one[0] - b * one[1], b * one[0] + a * one[1], one[2])

    before = stand_of(PLACE)
    other = PlaceEntry(
        name="turned",
        written=NOW,
        left_m=turned(PLACE.left_m),
        right_m=turned(PLACE.right_m),
        seat_m=turned(PLACE.seat_m),
        left_toe_in_deg=30.0,
        right_toe_in_deg=0.0,
    )
    after = stand_of(other)
    np.testing.assert_allclose(after.listener_view, turned(before.listener_view), atol=1e-12)
    for one, same in zip(after.source_views, before.source_views, strict=True):
        np.testing.assert_allclose(one, turned(same), atol=1e-12)


def test_what_is_not_known_is_no_number() -> None:
    # Known input: nothing, or a pair without seat and toe-in.
    nothing = Stand()
    assert np.isnan([*nothing.listener_m, *nothing.sources_m[0], *nothing.source_views[1]]).all()
    assert str(stand_of(None)) == str(nothing)
    pair = PlaceEntry(name="x", written=NOW, left_m=(1.0, 0.9, 1.0), right_m=(3.0, 0.9, 1.0))
    stand = stand_of(pair)
    assert stand.sources_m == (pair.left_m, pair.right_m)
    assert np.isnan([stand.listener_m, stand.listener_view, *stand.source_views]).all()
    assert stand.listener_m is UNKNOWN


def test_the_file_passes_the_reference_library_and_says_where_all_stood(
    logbook: Logbook, keep: Any, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # Second method: sofar reads it back and verifies it against AES69's own tables.
    sofar = pytest.importorskip("sofar")
    add_entry(logbook, PLACE)
    responses = np.random.default_rng(2).uniform(-0.5, 0.5, (48_000, 2)).astype(np.float32)
    for number, (name, place) in enumerate((("a", "By the Window"), ("b", "elsewhere"))):
        take = keep(name, number=number, arrival_mm=7.0, place=place, pair="Birch")
        soundfile.write(take / "reading.ir.wav", responses, 48_000, subtype="FLOAT")
    log = ["log", "--log", str(logbook.path), "export"]
    files = []
    for name in "ab":
        assert cli.run([*log, name, "--sofa", str(tmp_path / f"{name}.sofa")]) == 0
        files.append(sofar.read_sofa(str(tmp_path / f"{name}.sofa"), verify=True, verbose=False))
        assert files[-1].verify(issue_handling="return") is None
        np.testing.assert_allclose(files[-1].Data_IR[:, 0, :], responses.T, atol=1e-7)
    printed = capsys.readouterr().out
    known, unknown = files
    np.testing.assert_allclose(known.SourcePosition, [PLACE.left_m, PLACE.right_m])
    np.testing.assert_allclose(known.ListenerPosition, [PLACE.seat_m] * 2)
    np.testing.assert_allclose(known.SourceView[0], (0.5, sqrt(3) / 2, 0))
    assert (known.SourcePosition_Type, known.SourcePosition_Units) == ("cartesian", "metre")
    assert known.GLOBAL_DateCreated == "2026-03-01 20:15:00"
    assert known.GLOBAL_SourceShortName == "Birch"
    assert "Not known" not in known.GLOBAL_Comment
    assert "± 1.5 mm" in known.GLOBAL_Comment
    assert np.isnan(unknown.SourcePosition).all()
    assert np.isnan(unknown.ListenerPosition).all()
    assert "keeps no place of the take's name" in unknown.GLOBAL_Comment
    assert printed.count("Not known") == 1
    # Nobody's room stands in it.
    assert not hasattr(known, "RoomCornerB")
    assert cli.run([*log, "a", "--sofa", str(tmp_path / "a.wav")]) == 2
