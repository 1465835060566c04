"""Who may import whom, which library only one place may know, and how a command is made.

Truth: the rules themselves, `MAY_IMPORT` and `OWNERS` first; read from the source by `ast`.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
MODULES = sorted([*ROOT.glob("analysis/**/*.py"), *ROOT.glob("measure/**/*.py")])

MAY_IMPORT: dict[str, dict[str, str]] = {
    "analysis": {
        "basics": "",
        "signals": "basics",
        "recording": "basics signals",
        "pair": "basics signals recording",
        "room": "basics",
        "bass": "basics signals room",
        "placement": "basics signals room bass",
        "survey": "basics",
        "comparison": "basics signals recording pair room bass",
        "reading": "basics signals recording pair room bass",
        "plots": "basics signals recording pair room bass placement survey comparison reading",
        "report": "basics signals recording pair room bass placement survey comparison reading"
        " plots",
    },
    "measure": {
        "errors": "",
        "files": "errors",
        "safety": "errors files",
        "sound": "errors files safety",
        "takes": "errors files safety sound",
        "live": "errors files safety sound takes",
        "survey": "errors files",
        "placement": "errors files survey",
        "terminal": "errors files",
        "logbook": "errors files safety sound takes survey placement",
        "commands": "errors files safety sound takes live survey placement terminal logbook",
        "cli": "errors sound terminal commands",
    },
}
"""Package to the packages that it may import, those that these bring along written out.
`measure` may import all of `analysis` but its drawing and wording; `analysis` knows nothing of
`measure`."""

DRAWS_AND_WORDS = ("measure/commands/", "measure/files/figures.py")
"""Who in `measure` may import `analysis.plots` and `analysis.report`."""

OWNERS = {
    "sounddevice": ("measure/sound/portaudio.py",),
    "soundfile": ("measure/files/audio_files.py",),
    # measure/files/figures.py puts the finished figures on disk.
    "matplotlib": ("analysis/plots/", "measure/files/figures.py"),
    "termios": ("measure/files/system.py",),
    "tty": ("measure/files/system.py",),
    "fcntl": ("measure/files/system.py",),
    "msvcrt": ("measure/files/system.py",),
}
"""Libraries that only one place may know; the last four are the ways of each operating system."""

CONVERTER = "measure/files/typed_records.py"
CONVERTS = {"convert", "inspect", "msgpack", "toml", "yaml", "json.decode", "json.Decoder"}
"""What of msgspec learns a type, which two threads may not do at once: `CONVERTER` alone calls it.
Records themselves are declared anywhere."""

STARTER = "measure/sound/watch.py"
"""Where alone a sound path is started, under the limits, the tweeters' account and the keys."""

SHARED_OPTIONS = "measure.commands.options"
"""What verbs may import of each other's package; `cli` and `log` load verbs by their names."""

FROZEN = "dataclass(frozen=True, kw_only=True, slots=True)"


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


def package_of(path_or_module: str) -> str:
    """Return the package under the root: `level` of analysis/pair/level.py is in `pair`."""
    parts = path_or_module.removesuffix(".py").replace("/", ".").split(".")
    return parts[1] if len(parts) > 1 else ""


def breaches(path: Path) -> list[str]:
    """Return what a file imports against the rules."""
    here = names(path)
    root, me = here.split("/")[0], package_of(here)
    found = []
    for module in imports(path):
        top, other = module.split(".")[0], package_of(module)
        if root == "analysis" and top == "measure":
            found.append(f"{here} imports {module}: analysis knows nothing of measure")
        rows = MAY_IMPORT[root]
        if top == root and other in set(rows) - {me, *rows.get(me, " ".join(rows)).split()}:
            found.append(f"{here} imports {module}: {me} may import {rows[me]}")
        edge = root == "measure" and module.startswith(("analysis.plots", "analysis.report"))
        if edge and not here.startswith(DRAWS_AND_WORDS):
            found.append(f"{here} imports {module}: only commands draw and word")
        owners = OWNERS.get(top)
        if owners and not here.startswith(owners):
            found.append(f"{here} imports {module}: that is for {' and '.join(owners)}")
    if here != CONVERTER:
        wrong = CONVERTS.intersection(uses_of_msgspec(path))
        found += [f"{here} uses msgspec.{name}: that is for {CONVERTER}" for name in sorted(wrong)]
    if root == "measure" and here != STARTER and starts_a_sound_path(path):
        found.append(f"{here} starts a sound path: that is for {STARTER}")
    return found


def starts_a_sound_path(path: Path) -> bool:
    """Return whether a file calls a `start` with arguments, as `SoundPath.start` alone has them."""
    return any(
        isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr == "start"
        and bool(node.args or node.keywords)
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
    )


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


def test_every_package_has_its_row() -> None:
    for root, rows in MAY_IMPORT.items():
        here = {package_of(names(path)) for path in MODULES if names(path).startswith(root)}
        assert here - {"__init__", "__main__"} == set(rows)


def test_the_table_has_no_circle_and_leaves_nothing_to_be_inferred() -> None:
    for rows in MAY_IMPORT.values():
        for package, allowed in rows.items():
            assert package not in allowed.split()
            if package != "cli":  # it loads commands by name
                brought = {name for other in allowed.split() for name in rows[other].split()}
                assert brought <= set(allowed.split()), package


def forbidden_edges() -> Iterator[tuple[str, str]]:
    """Yield each import that the table forbids, as a file and what it imports."""
    for root, rows in MAY_IMPORT.items():
        for package, allowed in rows.items():
            for other in set(rows) - {package, *allowed.split()}:
                yield f"{root}/{package}/planted.py", f"from {root}.{other} import planted"


@pytest.mark.parametrize(("where", "source"), sorted(forbidden_edges()))
def test_each_forbidden_edge_is_noticed(
    where: str, source: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Known input: every import that no row allows, planted by itself.
    assert len(breaches(planted(where, source, tmp_path, monkeypatch))) >= 1


@pytest.mark.parametrize(
    ("where", "source"),
    [
        ("analysis/pair/level.py", "from measure.errors import MeasureError"),
        ("analysis/pair/level.py", "def f():\n    import matplotlib.pyplot"),
        ("analysis/pair/level.py", "from analysis import report"),
        ("analysis/survey/triangle.py", "if TYPE_CHECKING:\n    from analysis.pair import level"),
        ("measure/sound/watch.py", "import termios"),
        ("measure/takes/run.py", "def f(path):\n    return path.start(48000, source=None)"),
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


def test_no_init_file_among_the_tests() -> None:
    # tests/measure/__init__.py would shadow the package `measure`.
    assert list((ROOT / "tests").rglob("__init__.py")) == []
