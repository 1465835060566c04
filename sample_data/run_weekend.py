"""An invented weekend with three pairs: surveyed, measured, moved, compared, printed.

``python sample_data/run_weekend.py [FOLDER]`` makes a logbook and pages in FOLDER. The room, the
pairs and every recording are invented: image sources of rir-generator, loudspeakers of
``benchmarks/loudspeakers.py``. The surveys are the sample ones, of another invented room. It needs
the libraries of the extra ``test``. Every step is a command that a person types.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import soundfile

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))

from benchmarks.loudspeakers import Pair, random_pair  # noqa: E402
from benchmarks.recorder import record  # noqa: E402
from benchmarks.rooms import Layout, paths_m, responses  # noqa: E402
from measure import cli  # noqa: E402
from measure.takes.sheet import read_sheet  # noqa: E402

RATE_HZ = 48_000
SEED = 7
PAIRS = {"Birch": -0.021, "Elm": 0.013, "Oak": 0.008}
"""How far each right loudspeaker first stands too far back, in m."""

LAYOUT = Layout(
    size_m=(4.2, 5.4, 2.5),
    absorption=(0.25, 0.2, 0.2, 0.3, 0.3, 0.15),
    left_m=(0.95, 0.92, 1.0),
    right_m=(3.15, 0.92, 1.0),
    seat_m=(2.05, 3.30, 1.05),
)


def typed(*words: str | Path) -> None:
    """Run a command as a person types it, and show it."""
    said = [str(word) for word in words]
    print("$ apexline", *(f'"{word}"' if " " in word else word for word in said), flush=True)
    status = cli.run(said)
    print(flush=True)
    if status:
        sys.exit(status)


def recorded(path: Path, sheet: Path, layout: Layout, pair: Pair, rng: np.random.Generator) -> None:
    """Write what a microphone at the seat records."""
    programme = read_sheet(sheet)[0]
    heard = responses(
        layout,
        pair,
        sample_rate_hz=RATE_HZ,
        duration_s=0.4,
        max_order=8,
        simulator="rir_generator",
    )
    samples = record(programme, heard, clock_ppm=21.0, snr_db=50.0, rng=rng, start_s=0.7)
    soundfile.write(path, 0.2 * samples / np.abs(samples).max(), RATE_HZ, subtype="PCM_24")


def weekend(out: Path) -> None:
    """Live through it."""
    out.mkdir(parents=True, exist_ok=True)
    book, sheet = out / "weekend", out / "programme.wav"
    log = ("log", "--log", book)
    rng = np.random.default_rng(SEED)
    typed("sweep", sheet, "--seconds", "1", "--rate", str(RATE_HZ))
    typed("log", "new", book)
    typed(*log, "add", "room", "Attic", "--notes", "invented")
    labels = ("--log", book, "--pair", "Birch", "--room", "Loft", "--place")
    typed("survey", HERE / "survey-before.toml", *labels, "Thursday")
    typed("survey", HERE / "survey-after.toml", *labels, "Friday")
    typed(*log, "put-back", "Thursday", "--from", "Friday")
    where = [("--left", LAYOUT.left_m), ("--right", LAYOUT.right_m), ("--seat", LAYOUT.seat_m)]
    words = [word for name, at in where for word in (name, ",".join(map(str, at)))]
    for place in ("set", "again"):
        typed(*log, "add", "place", place, "--room", "Attic", *words, "--std", "0.001")
    for day, (name, back_m) in enumerate(PAIRS.items(), start=6):
        pair = random_pair(rng, "typical")
        typed(*log, "add", "pair", name, "--on-loan-until", "2026-04-01", "--notes", "invented")
        first = replace(LAYOUT, right_m=(3.15, 0.92 - back_m, 1.0))
        rounds = [(f"{name} first", first), (f"{name} set", LAYOUT)]
        if name != "Oak":  # which had to go back
            rounds.append((f"{name} again", LAYOUT))
        for hour, (take, layout) in enumerate(rounds):
            file = out / f"{take}.flac"
            recorded(file, sheet, layout, pair, rng)
            made = f"2026-03-{day:02d}T{14 + hour}:00:00"
            said = ("--pair", name, "--room", "Attic", "--place", take.split()[-1])
            typed(*log, "import", file, "--sweep", sheet, "--name", take, "--made", made, *said)
            file.unlink()
        moved_mm = (paths_m(LAYOUT)[1] - paths_m(first)[1]) * 1e3
        takes = ("--before", f"{name} first", "--after", f"{name} set")
        typed(*log, "add", "move", f"{name} 1", *takes, "--right-away", f"{moved_mm:.1f}")
    typed(*log)
    typed(*log, "--verify")
    groups = [(f"{name} set", f"{name} again") for name in ("Birch", "Elm")]
    words = []
    for option, group in zip(("--before", "--after"), groups, strict=True):
        words += [word for take in group for word in (option, take)]
    typed(*log, "compare", "--pairs", *words)
    typed("report", "--log", book, "--pairs", *words, "--out", out / "pairs.html")
    typed("report", "--log", book, "--pair", "Birch", "--out", out / "history.html")
    typed("report", "Birch first", "--log", book, "--out", out / "birch.html")
    typed(*log, "archive", out / "weekend.zip")


if __name__ == "__main__":
    weekend(Path(sys.argv[1] if len(sys.argv) > 1 else "weekend_out"))
