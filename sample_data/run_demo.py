"""The demo: read both sample recordings and compare them.

``make demo`` runs it. It calls the same commands that a person types.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).parent


def main() -> int:
    """Run the commands, show each, and stop at the first that fails."""
    out = Path(sys.argv[1] if len(sys.argv) > 1 else "demo_out")
    out.mkdir(parents=True, exist_ok=True)
    print(
        "The room, the pair and the recordings of this demo are invented; "
        f"{HERE.name}/make_sample_data.py made them.\n"
    )
    sheet = HERE / "programme.sheet.toml"
    steps: list[list[str | Path]] = []
    for when in ("before", "after"):
        step = ["read", HERE / f"{when}.flac", "--sweep", sheet, "--brief"]
        step += ["--room", HERE / f"room-{when}.toml"]
        steps.append([*step, "--json", out / f"{when}.json", "--figures", out / when])
    step = ["compare", out / "before.json", out / "after.json", "--moved", "both"]
    steps.append([*step, "--json", out / "comparison.json", "--figures", out / "comparison"])
    for step in steps:
        words = [str(_short(word)) for word in step]
        print(f"$ apexline {' '.join(words)}", flush=True)
        status = subprocess.run([sys.executable, "-m", "measure", *map(str, step)], check=False)
        print(flush=True)
        if status.returncode:
            return status.returncode
    print(f"Look at the figures in {_short(out)}/, {_short(out)}/before/bass.png first.")
    return 0


def _short(word: str | Path) -> str | Path:
    """Return a path as seen from here, if it lies below."""
    if isinstance(word, Path):
        path = word.resolve()
        return path.relative_to(Path.cwd()) if path.is_relative_to(Path.cwd()) else path
    return word


if __name__ == "__main__":
    sys.exit(main())
