"""The room file: what is taken from it, and what is said of a wrong one."""

from __future__ import annotations

import re
import tomllib
from importlib import resources
from pathlib import Path

import pytest

from measure.errors import RoomFileError
from measure.files.room_file import THERMOMETER_STD_C, read_room

PLAIN = """\
length_m = 5.5
width_m = 4
height_m = 2.5
temperature_c = 19.0
[left]
x_m = 1.0
y_m = 0.9
z_m = 1.1
[right]
x_m = 3.0
y_m = 0.8
z_m = 1.1
woofer_z_m = 0.6
[seat]
x_m = 2.0
y_m = 3.0
z_m = 1.2
"""


@pytest.fixture
def starter() -> str:
    return resources.files("measure").joinpath("data/room.toml").read_text(encoding="utf-8")


def stored(tmp_path: Path, text: str, encoding: str = "utf-8") -> Path:
    path = tmp_path / "room.toml"
    path.write_bytes(text.encode(encoding))
    return path


def test_every_figure_arrives(tmp_path: Path) -> None:
    # Known input; whole numbers serve as lengths.
    found = read_room(stored(tmp_path, PLAIN))
    room, positions, air = found.room, found.positions, found.air
    assert (room.length_m, room.width_m, room.height_m) == (5.5, 4, 2.5)
    assert room.absorption is None
    left, right, seat = positions.left, positions.right, positions.seat
    assert (left.tweeter.x_m, left.tweeter.y_m, left.tweeter.z_m) == (1.0, 0.9, 1.1)
    assert left.woofer_is_assumed
    assert (right.tweeter.x_m, right.woofer.z_m, right.woofer_is_assumed) == (3.0, 0.6, False)
    assert (seat.x_m, seat.y_m, seat.z_m) == (2.0, 3.0, 1.2)
    assert (air.temperature_c, air.temperature_std_c) == (19.0, THERMOMETER_STD_C)
    assert air.relative_humidity_percent is None


def test_optional_figures_arrive(tmp_path: Path) -> None:
    # Known input: two surfaces named, the others left to the default.
    text = "relative_humidity_percent = 40\n" + PLAIN + "[absorption]\nrear = 0.4\nceiling = 0\n"
    found = read_room(stored(tmp_path, text))
    assert found.air.relative_humidity_percent == 40
    assert found.room.absorption == {"rear": 0.4, "ceiling": 0.0}
    assert found.room.absorption_is_assumed


def test_the_starter_is_a_good_room(tmp_path: Path, starter: str) -> None:
    found = read_room(stored(tmp_path, starter))
    assert not found.positions.exchanged
    assert not found.room.absorption_is_assumed


def test_every_key_of_the_starter_is_documented(starter: str) -> None:
    # Truth: the starter that ships; docs/room_file.md must keep up with it.
    documented = (Path(__file__).parents[3] / "docs" / "room_file.md").read_text(encoding="utf-8")
    content = tomllib.loads(starter)
    keys = {*content, *content["left"], *content["absorption"], "relative_humidity_percent"}
    tables = {"absorption", "left", "right", "seat"}
    wanted = {f"`[{key}]`" if key in tables else f"`{key}`" for key in keys}
    assert {key for key in wanted if key not in documented} == set()


def test_a_byte_order_mark_is_no_fault(tmp_path: Path) -> None:
    assert read_room(stored(tmp_path, PLAIN, "utf-8-sig")).room.length_m == 5.5


def test_exchanged_loudspeakers_are_left_to_the_geometry_check(tmp_path: Path) -> None:
    # A reading compares them with the sound; the file alone can't tell who is wrong.
    text = PLAIN.replace("x_m = 1.0", "x_m = 9").replace("x_m = 3.0", "x_m = 1.0")
    assert read_room(stored(tmp_path, text.replace("x_m = 9", "x_m = 3.0"))).positions.exchanged


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("length_m = 5.5", "length_m = 5,5", "line 1 has a decimal comma"),
        ("length_m = 5.5", "", "the key length_m is missing"),
        ("length_m = 5.5", "length_m = '5.5'", "length_m must be a number, not a text"),
        ("length_m = 5.5", "length_m = true", "length_m must be a number, not true or false"),
        ("length_m = 5.5", "length_m = -5.5", "length_m -5.5 must lie from 1 to 30"),
        ("length_m = 5.5", "length_m = 550", "length_m 550.0 must lie from 1 to 30"),
        ("length_m = 5.5", "length_m = nan", "length_m nan must lie"),
        ("length_m = 5.5", "length_m = 5.5\nlength = 3", "the key length isn't known"),
        ("length_m = 5.5", "length_m 5.5", r"isn't a room file: expected .* \(at line 1"),
        ("temperature_c = 19.0", "", "the key temperature_c is missing"),
        ("temperature_c = 19.0", "temperature_c = 66", "temperature_c 66.0 must lie from -20"),
        ("[seat]", "[sofa]", "the key sofa isn't known"),
        ("x_m = 1.0", "", r"\[left\]: the key x_m is missing"),
        ("x_m = 1.0", "x_m = 4.2", "left: x_m 4.2 must lie from 0 to 4, inside the room"),
        ("x_m = 1.0", "x_m = inf", "left: x_m inf must be a number"),
        ("woofer_z_m = 0.6", "woofer_z_m = 2.6", "right woofer: z_m 2.6 must lie from 0 to 2.5"),
        ("woofer_z_m = 0.6", "woofer_z_m = nan", "right: woofer_z_m nan must be a number"),
        ("woofer_z_m = 0.6", "woofer_z_m = 'low'", r"\[right\] woofer_z_m must be a number"),
        ("x_m = 2.0\ny_m = 3.0\nz_m = 1.2", "x_m = 1\ny_m = 0.9\nz_m = 1.1", "0.1 m from the"),
        ("[left]", "[absorption]\nfloor = 1.5\n[left]", "absorption of floor 1.5 must lie"),
        ("[left]", "[absorption]\ndoor = 0.5\n[left]", "the key door isn't known"),
        ("[left]", "relative_humidity_percent = 140\n[left]", "relative_humidity_percent 140"),
    ],
)
def test_a_wrong_room_is_refused(tmp_path: Path, old: str, new: str, message: str) -> None:
    assert old in PLAIN
    path = stored(tmp_path, PLAIN.replace(old, new, 1))
    with pytest.raises(RoomFileError, match=message) as caught:
        read_room(path)
    assert str(path) in str(caught.value)
    assert "\n" not in str(caught.value)


def in_unit(per_metre: float) -> str:
    """Return the room with every length in another unit."""
    return re.sub(
        r"(_m = )([\d.]+)", lambda found: f"{found[1]}{float(found[2]) * per_metre:.4g}", PLAIN
    )


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (in_unit(1000), "length_m 5500 reads like millimetres, and would be 5.50"),
        (in_unit(100), "length_m 550 reads like centimetres, and would be 5.50"),
        (in_unit(1 / 0.3048), "the head 3.937 above the floor under a ceiling at 8.202 reads like"),
        (in_unit(1 / 0.3048), "feet; in metres these are 1.20 and 2.50"),
        (PLAIN.replace("5.5", "31.2"), "length_m 31.2 reads like feet, and would be 9.51"),
        (PLAIN.replace("x_m = 3.0", "x_m = 1100"), "x_m 1100 reads like millimetres, and would be"),
        (PLAIN.replace("19.0", "68"), "if that is in degrees Fahrenheit, write 20.0"),
        (PLAIN.replace("5.5", "2.9"), "are length_m and width_m exchanged?"),
    ],
)
def test_a_slip_of_units_or_of_sides_has_its_own_sentence(
    tmp_path: Path, text: str, said: str
) -> None:
    # Closed form: 5.5 m are 5500 mm, 550 cm and 18.04 feet; 68 °F are 20 °C. A room 2.9 m long
    # and 4 m wide has no place for a seat 3.0 m from the front wall, one 4 m long and 2.9 m wide
    # none for a loudspeaker 3.0 m from the left wall, so there the pair stands narrower.
    text = text.replace("x_m = 3.0", "x_m = 2.5") if "exchanged" in said else text
    with pytest.raises(RoomFileError) as caught:
        read_room(stored(tmp_path, text))
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    "change",
    [
        ("height_m = 2.5", "height_m = 7"),
        ("length_m = 5.5", "length_m = 18"),
        ("temperature_c = 19.0", "temperature_c = 40"),
        ("length_m = 5.5", "length_m = 3.5"),
    ],
    ids=["loft", "long", "hot", "wide"],
)
def test_a_rare_room_is_no_slip(tmp_path: Path, change: tuple[str, str]) -> None:
    # Known input: a loft, a long, a hot and a wide room, each in metres and degrees Celsius.
    assert read_room(stored(tmp_path, PLAIN.replace(*change, 1))).positions.seat.z_m == 1.2


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("length_m = 5.5", "length_m = -3"),
        ("length_m = 5.5", "length_m = nan"),
        ("length_m = 5.5", "length_m = 50000"),
        ("temperature_c = 19.0", "temperature_c = 400"),
        ("[left]", "relative_humidity_percent = 140\n[left]"),
        ("z_m = 1.2", "z_m = 2.6"),
    ],
)
def test_what_no_slip_explains_asks_for_metres(tmp_path: Path, old: str, new: str) -> None:
    # Known input: wrong in every unit, and with length and width either way.
    with pytest.raises(RoomFileError, match="correct it in the file") as caught:
        read_room(stored(tmp_path, PLAIN.replace(old, new, 1)))
    assert "reads like" not in str(caught.value)
    assert "exchanged" not in str(caught.value)


def test_files_that_are_no_rooms(tmp_path: Path) -> None:
    with pytest.raises(RoomFileError, match="line 1: isn't UTF-8 text"):
        read_room(stored(tmp_path, "# größe\n" + PLAIN, "latin-1"))
    with pytest.raises(RoomFileError, match="doesn't exist"):
        read_room(tmp_path / "none.toml")
    with pytest.raises(RoomFileError, match="is a folder"):
        read_room(tmp_path)
    with pytest.raises(RoomFileError, match="too large to be a room file"):
        read_room(stored(tmp_path, "#" * 2_000_000))
    with pytest.raises(RoomFileError, match="the key height_m is missing"):
        read_room(stored(tmp_path, ""))
