"""Make the sample recordings. The room, the pair and the people are invented.

``python sample_data/make_sample_data.py`` writes two recordings of one pair of
loudspeakers in an asymmetric living room, as a USB microphone with its own clock would
have made them: before and after both were pulled 0.2 m away from the front wall and the
left one was set to the same distance from the seat. A refrigerator hums, and in the
first recording somebody shuts a door during the first pass.

The room is simulated with rir-generator (image sources), the pair by
``benchmarks.loudspeakers``. The truth is the geometry in the two room files.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import soundfile

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))

from benchmarks import faults  # noqa: E402
from benchmarks.loudspeakers import random_pair  # noqa: E402
from benchmarks.recorder import record  # noqa: E402
from benchmarks.rooms import Layout, path_difference_m, responses  # noqa: E402
from measure.files.output import text_writer, write_whole  # noqa: E402
from measure.sound.stimulus import checksum, make_programme, programme_samples  # noqa: E402
from measure.takes.sheet import sheet_text  # noqa: E402

RATE_HZ = 48_000
CLOCK_PPM = 38.0
SNR_DB = 38.0
SIZE_M = (3.90, 5.20, 2.50)
# Left wall with a curtain, right wall with shelves, front wall bare, rear wall with a sofa.
ABSORPTION = (0.25, 0.15, 0.08, 0.25, 0.15, 0.08)
SEAT_M = (1.93, 3.10, 1.05)
BEFORE_M = ((0.853, 0.620, 0.98), (2.995, 0.640, 0.98))
AFTER_M = ((0.855, 0.8450, 0.98), (2.995, 0.840, 0.98))

ROOM_FILE = """\
# The invented room of the sample recordings, {when} the move.
length_m = {size[1]:.2f}
width_m = {size[0]:.2f}
height_m = {size[2]:.2f}
temperature_c = 20.0

[absorption]
left = {absorption[0]}
right = {absorption[1]}
front = {absorption[2]}
rear = {absorption[3]}
floor = {absorption[4]}
ceiling = {absorption[5]}

[left]
x_m = {left[0]:.3f}
y_m = {left[1]:.3f}
z_m = {left[2]:.2f}

[right]
x_m = {right[0]:.3f}
y_m = {right[1]:.3f}
z_m = {right[2]:.2f}

[seat]
x_m = {seat[0]:.2f}
y_m = {seat[1]:.2f}
z_m = {seat[2]:.2f}
"""


def main() -> None:
    """Write the sheet, the recordings and the room files."""
    programme = make_programme(
        start_hz=15.0,
        stop_hz=22_000.0,
        duration_s=6.0,
        level_dbfs=-20.0,
        rate_hz=RATE_HZ,
        order="LRRL",
        tail_s=1.5,
    )
    sheet = sheet_text(programme, sha256=checksum(programme_samples(programme)), version="0.1.0")
    write_whole(HERE / "programme.sheet.toml", text_writer(sheet))
    rng = np.random.default_rng(20261125)
    pair = random_pair(rng, "typical")
    layout = Layout(
        size_m=SIZE_M, absorption=ABSORPTION, left_m=BEFORE_M[0], right_m=BEFORE_M[1], seat_m=SEAT_M
    )
    for when, (left_m, right_m) in (("before", BEFORE_M), ("after", AFTER_M)):
        placed = replace(layout, left_m=left_m, right_m=right_m)
        samples = record(
            programme,
            responses(
                placed,
                pair,
                sample_rate_hz=RATE_HZ,
                duration_s=1.0,
                max_order=None,
                simulator="rir_generator",
            ),
            clock_ppm=CLOCK_PPM,
            snr_db=SNR_DB,
            rng=rng,
            start_s=1.7,
            extra_s=0.6,
        )
        samples *= 0.2 / float(np.abs(samples).max())
        samples = faults.hum(samples, sample_rate_hz=RATE_HZ, level_dbfs=-62.0)
        if when == "before":
            samples = faults.slam(
                samples, sample_rate_hz=RATE_HZ, at_s=5.2, level_dbfs=-20.0, rng=rng
            )
        soundfile.write(HERE / f"{when}.flac", samples, RATE_HZ, subtype="PCM_16")
        (HERE / f"room-{when}.toml").write_text(
            ROOM_FILE.format(
                when=when,
                size=SIZE_M,
                absorption=ABSORPTION,
                left=left_m,
                right=right_m,
                seat=SEAT_M,
            ),
            encoding="utf-8",
        )
        print(f"{when}: left minus right {path_difference_m(placed) * 1e3:+.2f} mm")


if __name__ == "__main__":
    main()
