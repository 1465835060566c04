"""Make the survey files of an invented room: the starter kits, and the demo's two surveys.

    python sample_data/make_survey.py            the demo's two surveys, in sample_data
    python sample_data/make_survey.py --starters the starter kits, in measure/data

The room, the equipment and every figure are invented: the left wall runs askew, the front wall
bends at a third mark, and the right loudspeaker stands 9 mm too far away. Readings are the true
distances with the noise of tape and laser, in whole millimetres, from fixed seeds.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[1]
STD_M = {"tape": 0.0015, "laser": 0.001}
WIDTH_M, DEPTH_M, HEIGHT_M = 0.24, 0.33, 1.04

# name: x from the centre line, y from its start toward the seat, z above the floor, in metres.
MARKS = {
    "rack left": (-0.62, 0.012, 0.48),
    "rack right": (0.62, -0.012, 0.48),
    "seat left": (-0.95, 3.05, 0.62),
    "seat right": (0.97, 3.02, 0.62),
}
WALL_MARKS = {
    "front 1": (-1.95, -0.618, 0.9),
    "front 2": (0.10, -0.600, 0.9),
    "front 3": (2.10, -0.655, 0.9),
    "left 1": (-1.990, 0.30, 0.9),
    "left 2": (-2.060, 3.40, 0.9),
    "right 1": (2.150, 0.30, 0.9),
    "right 2": (2.155, 3.40, 0.9),
}
WALLS = {
    "front": ((-1.0, -0.609), (1.0, -0.624)),
    "left": ((-1.990, 0.30), (-2.060, 3.40)),
    "right": ((2.150, 0.30), (2.155, 3.40)),
    "rear": ((-1.0, 4.62), (1.0, 4.60)),
}
HEAD = (0.0, 2.95, 1.06)
PLACES = {
    "left": {"x": -1.210, "y": 0.220, "toe_in_deg": 14.0},
    "right": {"x": 1.222, "y": 0.215, "toe_in_deg": 14.9},
}


def cabinet(side: str, place: dict[str, float]) -> dict[str, tuple[float, float, float]]:
    """Return edges and tweeter of a cabinet."""
    outward = -1.0 if side == "left" else 1.0
    toe_in = math.radians(place["toe_in_deg"])
    half = WIDTH_M / 2
    # From the middle of the front to its outer edge, which comes forward as it turns in.
    step = (outward * half * math.cos(toe_in), half * math.sin(toe_in))
    x, y = place["x"], place["y"]
    return {
        f"{side} inner": (x - step[0], y - step[1], 0.98),
        f"{side} outer": (x + step[0], y + step[1], 0.98),
        f"{side} tweeter": (x, y, 0.98),
    }


def points(places: dict[str, dict[str, float]]) -> dict[str, np.ndarray]:
    """Return all points of the room."""
    found = MARKS | WALL_MARKS | {"head": HEAD}
    for side in ("left", "right"):
        found |= cabinet(side, places[side])
    return {name: np.array(place) for name, place in found.items()}


def true_m(key: str, at: dict[str, np.ndarray]) -> float:
    """Return what a reading would be without noise, in metres."""
    first, second = key.split(" to ")
    if second == "line":
        return abs(float(at[first][0]))
    if second.startswith("wall "):
        a, b = (np.array(end) for end in WALLS[second.removeprefix("wall ")])
        line, away = b - a, at[first][:2] - a
        return abs(float(line[0] * away[1] - line[1] * away[0])) / float(np.hypot(*line))
    return float(np.linalg.norm(at[first] - at[second]))


RACK = ["rack left to rack right"]
BETWEEN = [
    "rack left to left inner",
    "rack left to left outer",
    "rack left to right outer",
    "rack right to right inner",
    "rack right to right outer",
    "rack right to left outer",
    "left inner to right inner",
    "left outer to right outer",
]
SEAT = ["seat left to seat right", "head to seat left", "head to seat right"]
FROM_HEAD = [
    "head to left inner",
    "head to left outer",
    "head to right inner",
    "head to right outer",
    "head to rack left",
    "head to rack right",
]
FROM_SEAT = [
    f"seat {end} to {side} {edge}"
    for end in ("left", "right")
    for side in ("left", "right")
    for edge in ("inner", "outer")
] + ["seat left to rack right", "seat right to rack left"]
TO_WALLS = [
    "left tweeter to wall front",
    "right tweeter to wall front",
    "left tweeter to wall left",
    "right tweeter to wall right",
    "head to wall left",
    "head to wall right",
    "seat left to wall rear",
    "seat right to wall rear",
]
CROOKED = [
    f"{station} to {mark}" for mark in WALL_MARKS for station in ("head", "rack left", "rack right")
] + ["seat left to left 2", "seat right to right 2"]

BOX = """\
[{side}]
width = 240            # of the front, between the edges
depth = 330
height = 1040
tweeter_height = 980   # above the floor: hold the tape at the edges at this height too
"""


def block(
    keys: list[str], instrument: str, at: dict[str, np.ndarray], seed: int, *, n_times: int = 1
) -> str:
    """Return readings as lines of the file, each read once or several times."""
    rng = np.random.default_rng([seed, len(keys), ord(instrument[0])])
    lines = []
    for key in keys:
        noise_m = STD_M[instrument] * rng.standard_normal(n_times)
        values = [round((true_m(key, at) + one) * 1000) for one in noise_m]
        lines.append(f'"{key}" = {values if n_times > 1 else values[0]}\n')
    return "".join(lines)


HEADS = {
    "tape": """\
# A survey for Apexline with a tape alone. Replace every figure, all invented, by your own.
# It takes two people and about half an hour.
""",
    "laser": """\
# A survey for Apexline with a laser distance meter on a tripod, first at the head, then at
# both ends of the seat. Replace every figure, all invented, by your own.
# Never look into the beam, and let nobody's eyes come into its way: switch it on only when
# it points at a card or a cabinet. Glass and polished metal throw it back.
# Zero is where your meter says: at its front, its rear, or the tripod's thread. It must stand
# over the mark with exactly that point.
""",
    "both": """\
# A survey for Apexline with tape and laser: the tape for short ways, the laser for long ones.
# Replace every figure, all invented, by your own.
# Never look into the beam, and let nobody's eyes come into its way: switch it on only when
# it points at a card or a cabinet. Glass and polished metal throw it back.
""",
}
COMMON = """\
# A bare number is in millimetres. These are understood too, in quotes: "81.2 cm", "0.812 m",
# "32 1/2 in", "5 ft 3 1/2 in". Whatever you couldn't read: put a # before the line.
# Read twice? Write both: = [812, 813]. Not sure of one? = {{ value = 812, std = 5 }}
# Left and right are as seen from the seat, facing the loudspeakers. The edges are the front
# edges of each cabinet, at the height of the tweeter: inner is the one nearer the middle.
# Every reading is a straight distance, heights included; only those to a wall or to the line
# are square to it, with the tape held level.

unit = "mm"

[instruments]          # one standard deviation of a reading: two of three lie within
tape = 1.5
laser = 1.0

# 1. Mark your points with strips of tape, and read how high each is above the floor.
#    rack left, rack right: the ends of the furniture between the loudspeakers. Its middle
#                           starts the centre line; the walls play no part in it.
#    seat left, seat right: the ends of the sofa, or two strips of tape beside the chair.
#    head: a mark in the air, between the ears: a camera stand, or a stick on the chair.
[points]
"rack left" = 480
"rack right" = 480
"seat left" = 620
"seat right" = 620

[head]
height = 1060          # of the ears

[line]
middle_of = ["rack left", "rack right"]   # the left one first
to = "head"

[furniture]
rack = {{ ends = ["rack left", "rack right"], depth = 450 }}

# 2. The cabinets. Add turn_about = "outer", "middle" or "centre" if yours isn't turned about
#    the floor point under its inner front edge.
{left}
{right}
"""


def starter(kit: str, at: dict[str, np.ndarray]) -> str:
    """Return a starter kit's text."""
    short, long = {
        "tape": ("tape", "tape"),
        "laser": ("laser", "laser"),
        "both": ("tape", "laser"),
    }[kit]
    boxes = {side: BOX.format(side=side) for side in ("left", "right")}
    text = HEADS[kit] + COMMON.format(**boxes)
    parts = {
        "tape": [],
        "laser": [],
    }
    step = [
        (short, "3. Between furniture and cabinets, and from cabinet to cabinet.", RACK + BETWEEN),
        (short, "4. The seat.", SEAT),
        (long, "5. From the head, the readings that decide most. Read them with care.", FROM_HEAD),
        (long, "6. From both ends of the seat: they check all others.", FROM_SEAT),
        (long, "7. To the walls, if you want the bass explained: square to each.", TO_WALLS),
    ]
    for number, (instrument, comment, keys) in enumerate(step):
        parts[instrument].append(f"# {comment}\n{block(keys, instrument, at, 7 + number)}")
    for instrument, blocks in parts.items():
        if blocks:
            text += f"\n[{instrument}]\n" + "\n".join(blocks)
    return text + TAIL


TAIL = """
# What you want. Without any of these the pair is made symmetric with the least movement.
[target]
# base_angle_deg = 60  # between the loudspeakers, as seen from the head; true for 60
# front_wall = 850     # from the tweeters to the front wall
# toe_in_deg = 15      # of both, against the centre line; or aim_deg, against the head
# distance_tolerance = 2

[room]
height = 2480          # floor to ceiling
temperature_c = 21
"""


def survey(places: dict[str, dict[str, float]], seed: int, *, wrong: bool) -> str:
    """Return a rich survey with the walls as marks, and one wrong reading if asked for."""
    at = points(places)
    boxes = {side: BOX.format(side=side) for side in ("left", "right")}
    text = "# An invented room, made by make_survey.py. Tape and laser.\n"
    text += COMMON.format(**boxes).replace(
        "[head]", "".join(f'"{name}" = 900\n' for name in WALL_MARKS) + "\n[head]"
    )
    text += """
[walls]                # the front wall bends at its second mark
front = ["front 1", "front 2", "front 3"]
left = ["left 1", "left 2"]
right = ["right 1", "right 2"]
"""
    tape = block(RACK + BETWEEN + SEAT, "tape", at, seed)
    edges = [key for key in FROM_HEAD + FROM_SEAT if "rack" not in key]
    others = [key for key in FROM_HEAD + FROM_SEAT if "rack" in key]
    laser = "# The edges twice each: they decide distances and toe-in.\n"
    laser += block(edges, "laser", at, seed, n_times=2) + block(others + CROOKED, "laser", at, seed)
    rear = block(TO_WALLS[-2:], "laser", at, seed + 1)
    if wrong:
        # Two digits change places as they are written down.
        before = next(line for line in tape.splitlines() if "rack left to left inner" in line)
        digits = before.split(" = ")[1]
        tape = tape.replace(before, f"{before.split(' = ')[0]} = {digits[:1]}{digits[:0:-1]}")
    return f"{text}\n[tape]\n{tape}\n[laser]\n{laser}{rear}{TAIL}"


def moved(places: dict[str, dict[str, float]], path: Path) -> dict[str, dict[str, float]]:
    """Return where the loudspeakers stand after the moves that a survey asks for.

    The person keeps to them within a few tenths of a millimetre and hundredths of a degree.
    """
    from analysis.survey.result import evaluate_survey
    from measure.survey.file import read_survey

    rng = np.random.default_rng(23)
    places = {side: dict(place) for side, place in places.items()}
    file = read_survey(path)
    for move in evaluate_survey(file.survey, file.target).plan.moves:
        if move.what not in places:
            continue
        place, outward = places[move.what], -1.0 if move.what == "left" else 1.0
        place["x"] += outward * move.outward_m
        place["y"] -= move.toward_wall_m
        if move.kind == "turn":
            # About the floor point under the inner front edge: that edge stays.
            before = cabinet(move.what, place)[f"{move.what} inner"]
            place["toe_in_deg"] += math.degrees(move.turn_rad) + rng.normal(0, 0.03)
            after = cabinet(move.what, place)[f"{move.what} inner"]
            place["x"] += before[0] - after[0]
            place["y"] += before[1] - after[1]
        else:
            place["x"] += rng.normal(0, 3e-4)
            place["y"] += rng.normal(0, 3e-4)
    return places


def main() -> None:
    """Write what was asked for."""
    if "--starters" in sys.argv:
        at = points(PLACES)
        for kit in HEADS:
            path = ROOT / "measure" / "data" / f"survey-{kit}.toml"
            path.write_text(starter(kit, at), encoding="utf-8", newline="\n")
            print(f"Wrote {path.relative_to(ROOT)}")
        return
    before, after = (ROOT / "sample_data" / f"survey-{name}.toml" for name in ("before", "after"))
    before.write_text(survey(PLACES, 11, wrong=True), encoding="utf-8", newline="\n")
    text = survey(moved(PLACES, before), 16, wrong=False)
    after.write_text(text, encoding="utf-8", newline="\n")
    print("Wrote sample_data/survey-before.toml and sample_data/survey-after.toml")


if __name__ == "__main__":
    main()
