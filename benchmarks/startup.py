"""How long the command line takes to answer: to ``--help``, and to read a recording.

Run as ``python -m benchmarks.startup``. The runs alternate, so that a busy machine slows
all of them alike, and the median of each is compared. ``--help`` may cost six times the
bare interpreter ``python -c pass``; ``read`` of the sample recording, as a process, twice what the
same command takes in a process that has it all in memory (*warm*).
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

N_READINGS = 7
ALLOWED_OVER_WARM = 2.0

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

_SAMPLES = Path(__file__).parents[1] / "sample_data"
READ = ["read", str(_SAMPLES / "before.flac"), "--sweep", str(_SAMPLES / "programme.sheet.toml")]
READ += ["--room", str(_SAMPLES / "room-before.toml")]

_WARM = """
import contextlib, io, sys, time
from measure import cli
for _ in range(2):
    begin = time.perf_counter()
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        cli.run(sys.argv[1:])
print(time.perf_counter() - begin)
"""


def seconds(command: list[str]) -> float:
    """Return how long a command takes, its output thrown away."""
    begin = time.perf_counter()
    subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=True)
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
    reading()


def reading() -> None:
    """Print what a process that reads a recording takes over the warm analysis."""
    process, warm = [], []
    for _ in range(N_READINGS):
        process.append(seconds([_PYTHON, "-m", "measure", *READ]))
        done = subprocess.run(
            [_PYTHON, "-c", _WARM, *READ], capture_output=True, text=True, check=True
        )
        warm.append(float(done.stdout))
    process_s, warm_s = statistics.median(process), statistics.median(warm)
    print(f"read a recording, median of {N_READINGS} (at most {ALLOWED_OVER_WARM:g} x warm)")
    print(f"  warm analysis   {1000 * warm_s:6.0f} ms")
    print(f"  process         {1000 * process_s:6.0f} ms   {process_s / warm_s:5.2f} x")


if __name__ == "__main__":
    main()
