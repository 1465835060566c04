"""The arrows between the rooms: who may import whom, and what loads late.

Truth: the rules themselves, as DEVELOPERS.md states them; read from the source by `ast`,
and from a fresh interpreter.
"""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
MODULES = sorted([*ROOT.glob("analysis/**/*.py"), *ROOT.glob("measure/**/*.py")])

OWNERS = {
    "sounddevice": ("measure/sound/portaudio.py",),
    "soundfile": ("measure/files/audio_files.py",),
    # measure/files/figures.py puts the finished figures on disk.
    "matplotlib": ("analysis/plots/", "measure/files/figures.py"),
}
"""Libraries that only one place may know."""

CONVERTER = "measure/files/typed_records.py"
CONVERTS = {"convert", "inspect", "msgpack", "toml", "yaml", "json.decode", "json.Decoder"}
"""What of msgspec learns a type, which two threads may not do at once: `CONVERTER` alone calls it.
Records themselves are declared anywhere."""

SHARED_OPTIONS = "measure.commands.options"
"""What verbs may import of each other's package; `cli` and `log` load verbs by their names."""

FROZEN = "dataclass(frozen=True, kw_only=True, slots=True)"

HEAVY = {"numpy", "scipy", "matplotlib", "sounddevice", "soundfile", "soxr", "msgspec"}
HEAVY |= {"skfem", "shapely"}


def names(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def imports(path: Path) -> Iterator[str]:
    """Yield every module that a file imports, also inside functions."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{names(path)}: import by full name"
            yield node.module or ""
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def uses_of_msgspec(path: Path) -> Iterator[str]:
    """Yield what a file uses of msgspec, by the names in msgspec itself."""
    nodes = list(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))
    called = {"msgspec": "msgspec"}
    for node in nodes:
        if isinstance(node, ast.Import):
            called |= {alias.asname: alias.name for alias in node.names if alias.asname}
        elif isinstance(node, ast.ImportFrom):
            called |= {
                alias.asname or alias.name: f"{node.module}.{alias.name}" for alias in node.names
            }
    for node in nodes:
        if isinstance(node, ast.Attribute | ast.Name):
            first, *others = ast.unparse(node).split(".")
            full = ".".join([called.get(first, first), *others])
            if full.startswith("msgspec."):
                yield full.removeprefix("msgspec.")


def breaches(path: Path) -> list[str]:
    """Return what a file imports against the rules."""
    here = names(path)
    found = []
    for module in imports(path):
        top = module.split(".")[0]
        if here.startswith("analysis/") and top == "measure":
            found.append(f"{here} imports {module}: analysis knows nothing of measure")
        edge = module.startswith(("analysis.plots", "analysis.report"))
        if edge and not here.startswith(
            ("analysis/plots/", "analysis/report/", "measure/commands/", "measure/files/figures.py")
        ):
            found.append(f"{here} imports {module}: only commands draw and word")
        owners = OWNERS.get(top)
        if owners and not here.startswith(owners):
            found.append(f"{here} imports {module}: that is for {' and '.join(owners)}")
    if here != CONVERTER:
        wrong = CONVERTS.intersection(uses_of_msgspec(path))
        found += [f"{here} uses msgspec.{name}: that is for {CONVERTER}" for name in sorted(wrong)]
    return found


def verb_breaches(path: Path) -> list[str]:
    """Return what a file of ``measure`` does against the rules of thin commands."""
    here = names(path)
    tree = ast.parse(path.read_text(encoding="utf-8"))
    found = []
    for module in set(imports(path)):
        verb = module.startswith("measure.commands.") and not module.startswith(SHARED_OPTIONS)
        if verb and here.startswith("measure/"):
            found.append(f"{here} imports {module}: what verbs share stands beside its subject")
    if here.startswith("measure/") and any(
        isinstance(node, ast.Subscript) and ast.unparse(node) == "dict[str, Any]"
        for node in ast.walk(tree)
    ):
        found.append(f"{here} has dict[str, Any]: a record, or JsonObject where it becomes JSON")
    if path.parent == ROOT / "measure" / "commands" and not path.stem.startswith("_"):
        found += [f"{here} {problem}" for problem in thickness(tree)]
    return found


def thickness(tree: ast.Module) -> Iterator[str]:
    """Yield what a verb's file lacks of a record of options and of a `run` that takes it."""
    records = {
        node.name
        for node in tree.body
        if isinstance(node, ast.ClassDef)
        and node.name.endswith("Options")
        and FROZEN in {ast.unparse(one) for one in node.decorator_list}
    }
    if not records:
        yield f"has no class ...Options under @{FROZEN}"
    runs = [node for node in tree.body if isinstance(node, ast.FunctionDef) and node.name == "run"]
    if not any(ast.unparse(one.args).startswith("options: ") for one in runs):
        yield "has no run(options: ...)"
    if any(len(one.args.args) + len(one.args.kwonlyargs) != 1 for one in runs):
        yield "has a run that takes more than its options"


@pytest.mark.parametrize("path", MODULES, ids=names)
def test_commands_are_thin(path: Path) -> None:
    assert verb_breaches(path) == []


RECORD = f"from dataclasses import dataclass\n@{FROZEN}\nclass ReadOptions:\n    x: int = 0\n"
RUN = "def run(options: ReadOptions) -> None: ...\n"


@pytest.mark.parametrize(
    ("where", "source"),
    [
        ("measure/commands/read.py", f"from measure.commands.take import run as r\n{RECORD}{RUN}"),
        ("measure/commands/read.py", f"{RECORD}{RUN}def f():\n    import measure.commands.take\n"),
        ("measure/commands/read.py", f"from measure.commands import take\n{RECORD}{RUN}"),
        ("measure/commands/read.py", RECORD),
        ("measure/commands/read.py", RUN),
        ("measure/commands/read.py", f"{RECORD.replace('frozen=True, ', '')}{RUN}"),
        ("measure/commands/read.py", f"{RECORD}def run(options: ReadOptions, more: int): ...\n"),
        ("measure/commands/read.py", f"{RECORD}def run(**options: object): ...\n"),
        ("measure/takes/take.py", "from measure.commands.read import ReadOptions"),
        ("measure/takes/take.py", "def f(x: dict[str, Any]) -> None: ...\n"),
        ("measure/takes/take.py", "x: list[dict[str, Any]] = []\n"),
    ],
)
def test_a_thick_command_is_noticed(
    where: str, source: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Known input: each rule broken once, in a file that keeps the others.
    assert verb_breaches(planted(where, source, tmp_path, monkeypatch))


def test_a_thin_command_is_let_through(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # Known input: the file of which the broken ones above are made.
    source = f"from measure.commands.options import FILE\n{RECORD}{RUN}"
    path = planted("measure/commands/read.py", source, tmp_path, monkeypatch)
    assert verb_breaches(path) == []


def planted(where: str, source: str, folder: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Write a file into a folder that is taken for the project's own; return its path."""
    path = folder / where
    path.parent.mkdir(parents=True)
    path.write_text(source, encoding="utf-8")
    monkeypatch.setattr(sys.modules[__name__], "ROOT", folder)
    return path


@pytest.mark.parametrize("path", MODULES, ids=names)
def test_imports_follow_the_arrows(path: Path) -> None:
    assert breaches(path) == []


@pytest.mark.parametrize(
    ("where", "source"),
    [
        ("analysis/pair/level.py", "from measure.errors import MeasureError"),
        ("analysis/pair/level.py", "def f():\n    import matplotlib.pyplot"),
        ("analysis/pair/level.py", "from analysis import report"),
        ("measure/files/output.py", "from analysis.plots import bass"),
        ("measure/sound/stimulus.py", "import soundfile as sf"),
        ("measure/commands/about.py", "import sounddevice"),
        ("measure/takes/sheet.py", "import msgspec\nx = msgspec.convert({}, dict)"),
        ("measure/takes/sheet.py", "import msgspec as m\ndef f():\n    return m.json.decode(b'1')"),
        ("measure/takes/sheet.py", "from msgspec import json\nx = json.Decoder(int)"),
        ("measure/takes/sheet.py", "from msgspec import convert as c\nx = c(1, int)"),
        ("measure/takes/sheet.py", "from msgspec.json import decode\nx = decode(b'1')"),
    ],
)
def test_a_breach_is_noticed(
    where: str, source: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Known input: each rule broken once; a checker that sees nothing would pass above.
    assert breaches(planted(where, source, tmp_path, monkeypatch))


def loaded_by(statement: str) -> set[str]:
    """Return the top-level modules in memory after a statement in a fresh interpreter."""
    script = f"{statement}\nimport sys\nprint(*(m.split('.')[0] for m in sys.modules))"
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, cwd=ROOT, check=True
    )
    return set(done.stdout.split())


def test_the_doors_load_nothing_heavy() -> None:
    # `apexline --help` needs the list of commands and nothing else.
    assert HEAVY & loaded_by("import analysis, measure, measure.cli") == set()


def test_help_loads_nothing_heavy() -> None:
    statement = "import measure.cli; assert measure.cli.run(['--help']) == 0"
    assert HEAVY & loaded_by(statement) == set()


def test_no_init_file_among_the_tests() -> None:
    # tests/measure/__init__.py would shadow the package `measure`.
    assert list((ROOT / "tests").rglob("__init__.py")) == []
