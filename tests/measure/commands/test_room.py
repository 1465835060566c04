"""``apexline room`` and room files of any floor plan."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from measure import cli
from measure.errors import RoomFileError
from measure.files.room_file import read_room

PLACES = """
height_m = 2.5
temperature_c = 20
[left]
x_m = 0.9
y_m = 0.7
z_m = 1.0
[right]
x_m = 2.9
y_m = 0.7
z_m = 1.0
[seat]
x_m = 1.9
y_m = 3.0
z_m = 1.1
"""

L = "floor_m = [[0,0],[6,0],[6,3],[3.5,3],[3.5,5],[0,5]]"


def stored(folder: Path, text: str) -> Path:
    path = folder / "room.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_json_of_an_l(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # Second method: plan modes of this L at 343 m/s, by quadratic elements of a fine mesh:
    # 25.987, 37.474, 53.652 Hz (reference library).
    path = stored(tmp_path, L + PLACES)
    assert cli.run(["room", str(path), "--up-to", "60", "--json", "-"]) == 0
    document = json.loads(capsys.readouterr().out)
    found = [mode["frequency_hz"] * 343 / 343.2 for mode in document["modes"][:3]]
    assert found == pytest.approx([25.987, 37.474, 53.652], rel=1e-3)
    first = document["modes"][0]
    assert (first["indices"], first["kind"]) == (None, "plan")
    assert first["coupling"].keys() == {"left", "right"}
    assert 0 < document["error_percent"] <= 0.1
    assert document["area_m2"] == pytest.approx(25)


def test_a_box_is_printed_with_indices(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # Closed form: 343.2 / (2 x 5) Hz between front and rear wall.
    path = stored(tmp_path, "length_m = 5\nwidth_m = 4" + PLACES)
    assert cli.run(["room", str(path)]) == 0
    printed = capsys.readouterr().out
    assert "1 0 0   34.3  axial" in printed
    assert "Schroeder" in printed
    assert "first cancellation" in printed


def test_materials_and_walls_of_a_clockwise_plan(tmp_path: Path) -> None:
    # Known input: the front wall is the first of the file, or the last if read backwards.
    walls = '[absorption]\nwalls = ["brick", 0.2, 0.3, 0.4, 0.5, 0.6]\nfloor = "thick carpet"\n'
    ahead = read_room(stored(tmp_path, L + PLACES + walls)).room
    turned = "floor_m = [[0,5],[3.5,5],[3.5,3],[6,3],[6,0],[0,0]]"
    back = walls.replace('["brick", 0.2, 0.3, 0.4, 0.5, 0.6]', '[0.5, 0.4, 0.3, 0.2, "brick", 0.6]')
    behind = read_room(stored(tmp_path, turned + PLACES + back)).room
    assert ahead.absorption_of("front") == behind.absorption_of("front") == 0.01
    assert ahead.absorption_of("floor") == 0.11
    middle = {round(x, 3): a for x, a in _by_middle(ahead).items()}
    assert middle == {round(x, 3): a for x, a in _by_middle(behind).items()}


def _by_middle(room: object) -> dict[float, float]:
    corners = room.plan.array  # type: ignore[attr-defined]
    names = room.plan.wall_names  # type: ignore[attr-defined]
    n = len(names)
    middles = [0.5 * (corners[k] + corners[(k + 1) % n]) for k in range(n)]
    return {
        float(m[0] + 100 * m[1]): room.absorption_of(name)  # type: ignore[attr-defined]
        for m, name in zip(middles, names, strict=True)
    }


def test_a_sloped_ceiling_and_furniture_are_read(tmp_path: Path) -> None:
    # Known input.
    more = "[ceiling]\nfar_height_m = 3.1\n[[furniture]]\nx_m = [0, 1]\ny_m = [2, 3]\n"
    file = read_room(stored(tmp_path, "length_m = 5\nwidth_m = 4" + PLACES + more))
    assert not file.room.is_box
    assert file.room.volume_m3 == pytest.approx(20 * 2.8)
    assert file.furniture[0].covers([[0.5, 2.5], [1.2, 2.5]]).tolist() == [True, False]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("length_m = 5" + PLACES, "width_m is missing"),
        ("width_m = 5\n" + L + PLACES, "in place of"),
        ("floor_m = [[0,0],[4,4],[4,0],[0,4]]" + PLACES, "cross or touch"),
        (L.replace("6", "2.5") + PLACES, "outside the floor plan|cross"),
        (L + PLACES + "[absorption]\nwalls = [0.1]\n", "walls has 1 entries"),
        (L + PLACES + '[absorption]\nfloor = "moss"\n', "'moss' isn't known"),
        (L + PLACES + "[absorption]\nrear = 0.5\n", "surface must be one of"),
    ],
)
def test_each_fault_has_its_message(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(RoomFileError, match=said):
        read_room(stored(tmp_path, text))


def test_each_surface_is_drawn_and_written(tmp_path: Path) -> None:
    # Invariant: at a surface's first cancellation its effect is its depth.
    path = stored(tmp_path, L + PLACES)
    out = tmp_path / "room.json"
    figures = tmp_path / "figures"
    more = ["--up-to", "50", "--json", str(out), "--figures", str(figures)]
    assert cli.run(["room", str(path), *more]) == 0
    assert (figures / "surfaces.png").exists()
    document = json.loads(out.read_text("utf-8"))
    effect = {(one["side"], one["surface"]): one for one in document["surfaces"]}
    for one in document["cancellations"]:
        curve = effect[one["side"], one["surface"]]
        where = one["frequency_hz"] - curve["first_hz"]
        if 0 <= where <= 279:
            assert curve["effect_db"][round(where)] == pytest.approx(one["depth_db"], abs=0.2)
