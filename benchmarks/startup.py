"""How long the command line takes to answer, as ratios to bare ``python -c pass``.

Run as ``python -m benchmarks.startup``. The runs alternate, so that a busy machine slows
all of them alike, and the median of each is compared. ``--help`` may cost six times the
bare interpreter.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import sysconfig
import time
from pathlib import Path

N_ROUNDS = 21
ALLOWED_RATIO = 6.0

_PYTHON = sys.executable
_SCRIPT = Path(sysconfig.get_path("scripts")) / "apexline"

COMMANDS = {
    "python -c pass": [_PYTHON, "-c", "pass"],
    "import click": [_PYTHON, "-c", "import click"],
    "apexline --help": [str(_SCRIPT), "--help"],
    "python -m measure --help": [_PYTHON, "-m", "measure", "--help"],
    "apexline sweep --help": [str(_SCRIPT), "sweep", "--help"],
    "apexline read --help": [str(_SCRIPT), "read", "--help"],
}


def seconds(command: list[str]) -> float:
    """Return how long a command takes, its output thrown away."""
    begin = time.perf_counter()
    subprocess.run(command, stdout=subprocess.DEVNULL, check=True)
    return time.perf_counter() - begin


def main() -> None:
    """Print the median of each command and its ratio to the bare interpreter."""
    times: dict[str, list[float]] = {name: [] for name in COMMANDS}
    for _ in range(N_ROUNDS):
        for name, command in COMMANDS.items():
            times[name].append(seconds(command))
    bare_s = statistics.median(times["python -c pass"])
    print(f"start-up, median of {N_ROUNDS} runs (at most {ALLOWED_RATIO:g} x for --help)")
    for name, taken in times.items():
        median_s = statistics.median(taken)
        print(f"  {name:26} {1000 * median_s:6.1f} ms   {median_s / bare_s:5.2f} x")


if __name__ == "__main__":
    main()
