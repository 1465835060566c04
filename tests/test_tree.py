"""The tree itself: how many entries a folder has, and that all of it is used.

Truth: the rules themselves; read from the source by `ast`, each with planted breaches.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]

MOST_ENTRIES = 12
MOST_ENTRIES_OF_A_ROOT = 14
MANY = {"measure/commands"}
"""One file a verb, however many verbs there are."""

STARTED_BY_NAME = {"measure.cli", "measure.__main__"}
"""Modules that no import names: the doors, and (by `measure.commands.`) the commands."""

USERS = ("analysis", "measure")
"""Where a use counts: what only tests or benchmarks call is theirs and moves to them."""


def crowded_folders(root: Path) -> list[str]:
    """Return each folder of the product with more entries than a person takes in."""
    found = []
    for top in ("analysis", "measure"):
        for folder in [root / top, *(p for p in (root / top).rglob("*") if p.is_dir())]:
            name = folder.relative_to(root).as_posix()
            if "__pycache__" in name or name in MANY:
                continue
            entries = [
                entry
                for entry in folder.iterdir()
                if not entry.name.startswith("__") and (entry.is_file() or any(entry.rglob("*.py")))
            ]
            most = MOST_ENTRIES_OF_A_ROOT if folder.parent == root else MOST_ENTRIES
            if len(entries) > most:
                found.append(f"{name}: {len(entries)} entries, at most {most}")
    return found


def parsed(root: Path) -> dict[str, ast.Module]:
    """Return the product's modules by their full names."""
    return {
        ".".join(path.relative_to(root).with_suffix("").parts).removesuffix(".__init__"): ast.parse(
            path.read_text(encoding="utf-8")
        )
        for top in USERS
        for path in sorted((root / top).rglob("*.py"))
    }


def imported_names(tree: ast.Module) -> Iterator[str]:
    """Yield the full name of all that a module imports, also inside functions."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def orphan_modules(root: Path) -> list[str]:
    """Return the modules that no other module of the product imports."""
    trees = parsed(root)
    used = {name for me, tree in trees.items() for name in imported_names(tree) if name != me}
    used |= {
        name for name in trees if any(other.startswith(f"{name}.") for other in trees)
    }  # packages
    return [
        name
        for name in trees
        if name not in used | STARTED_BY_NAME and not name.startswith("measure.commands.")
    ]


def said_names(tree: ast.Module) -> Iterator[str]:
    """Yield every name that a module says, its own definitions aside."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Name):
            yield node.id
        elif isinstance(node, ast.Attribute):
            yield node.attr
        elif isinstance(node, ast.ImportFrom):  # the linter sees to it that it is used
            yield from (alias.name for alias in node.names)


def uncalled_functions(root: Path) -> list[str]:
    """Return the functions and classes that nothing in the product names.

    What a decorator hands on (a command, a check of a record) counts as named.
    """
    trees = parsed(root)
    said = {name for tree in trees.values() for name in said_names(tree)}
    return [
        f"{module}.{node.name}"
        for module, tree in trees.items()
        for node in tree.body
        if isinstance(node, ast.FunctionDef | ast.ClassDef)
        and not (isinstance(node, ast.FunctionDef) and node.decorator_list)
        and node.name not in said
    ]


def test_no_folder_is_crowded() -> None:
    assert crowded_folders(ROOT) == []


def test_every_module_is_used() -> None:
    assert orphan_modules(ROOT) == []


def test_every_function_is_called() -> None:
    assert uncalled_functions(ROOT) == []


def planted(root: Path, files: dict[str, str]) -> Path:
    """Write a small tree."""
    for name, text in files.items():
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_text(text, encoding="utf-8")
    return root


def test_a_crowded_folder_is_noticed(tmp_path: Path) -> None:
    # Known input: thirteen modules in a package; a package more than the root may hold.
    modules = {f"analysis/pair/m{k}.py": "" for k in range(MOST_ENTRIES + 1)}
    packages = {f"measure/p{k}/m.py": "" for k in range(MOST_ENTRIES_OF_A_ROOT + 1)}
    found = crowded_folders(planted(tmp_path, modules | packages))
    assert [line.split(":")[0] for line in found] == ["analysis/pair", "measure"]


def test_an_orphan_and_an_uncalled_function_are_noticed(tmp_path: Path) -> None:
    # Known input: one module that nothing imports, one function that nothing calls.
    tree = {
        "analysis/pair/used.py": "def called(): ...\ndef forgotten(): ...\n",
        "analysis/pair/user.py": "from analysis.pair.used import called\nX = called()\n",
        "measure/cli.py": "import analysis.pair.user\n",
        "measure/files/orphan.py": "",
    }
    planted(tmp_path, tree)
    assert "measure.files.orphan" in orphan_modules(tmp_path)
    assert not {"analysis.pair.used", "measure.cli"} & set(orphan_modules(tmp_path))
    assert uncalled_functions(tmp_path) == ["analysis.pair.used.forgotten"]


@pytest.mark.parametrize("top", USERS)
def test_the_tree_is_there(top: str) -> None:
    # A checker that looks in the wrong place would find nothing to complain of.
    assert len([name for name in parsed(ROOT) if name.startswith(top)]) > 50
