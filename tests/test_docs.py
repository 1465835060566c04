"""The pages keep their word: links, command lines, keys and constants are as they say.

The truth is the program itself; a page that says otherwise is wrong.
"""

from __future__ import annotations

import contextlib
import importlib
import io
import json
import re
import shlex
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
import numpy as np
import pytest
import soundfile

from analysis.recording.checks.check import NAMES
from measure import cli

ROOT = Path(__file__).parents[1]
SAMPLES = ROOT / "sample_data"
PAGES = sorted([*ROOT.glob("*.md"), *(ROOT / "docs").rglob("*.md")])
CURVES = ("left", "right", "both")


def name_of(page: Path) -> str:
    return page.relative_to(ROOT).as_posix()


def prose(text: str) -> str:
    """Leave out the fenced blocks."""
    return re.sub(r"^```.*?^```", "", text, flags=re.DOTALL | re.MULTILINE)


def anchors(page: Path) -> set[str]:
    """Return the anchors that a page's headings get where it is shown."""
    headings = re.findall(r"^#+ (.+)$", prose(page.read_text(encoding="utf-8")), re.MULTILINE)
    plain = [re.sub(r"[^\w\- ]", "", heading.lower()) for heading in headings]
    return {heading.strip().replace(" ", "-") for heading in plain}


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_every_relative_link_leads_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)\s]+)\)", prose(page.read_text(encoding="utf-8"))):
        if re.match(r"[a-z]+:", target):
            continue
        path, _, anchor = target.partition("#")
        other = (page.parent / path).resolve() if path else page
        assert other.exists(), target
        assert other.is_relative_to(ROOT), target
        if anchor:
            assert anchor in anchors(other), target


def test_the_index_leads_to_every_page() -> None:
    index = (ROOT / "docs" / "index.md").read_text(encoding="utf-8")
    linked = set(re.findall(r"\]\((\w+\.md)\)", index))
    assert linked == {page.name for page in (ROOT / "docs").glob("*.md")} - {"index.md"}


def shown_commands() -> list[tuple[str, str]]:
    """Return page and command line of every ``apexline ...`` in a fenced block."""
    found = []
    for page in PAGES:
        blocks = re.findall(
            r"^ *```\w*\n(.*?)^ *```", page.read_text(encoding="utf-8"), re.DOTALL | re.MULTILINE
        )
        for line in "\n".join(blocks).replace("\\\n", " ").splitlines():
            words = line.strip().removeprefix("$ ").removeprefix(".venv/bin/")
            if words.startswith("apexline "):
                found.append((name_of(page), words.removeprefix("apexline ")))
    return found


def test_the_readme_shows_each_step() -> None:
    shown = {line.split()[0] for page, line in shown_commands() if page == "README.md"}
    assert shown >= {"sweep", "starter", "read", "compare"}


@pytest.mark.parametrize(("page", "line"), shown_commands())
def test_every_command_line_shown_parses(page: str, line: str) -> None:
    # Only parsed: no command is run, no file is opened.
    verb, *arguments = shlex.split(line, comments=True)
    command = cli.group.get_command(click.Context(cli.group), verb)
    assert command is not None, page
    command.make_context(verb, arguments)


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_every_option_named_with_a_command_exists(page: Path) -> None:
    for verb, rest in re.findall(
        r"`apexline (\w+)([^`]*)`", prose(page.read_text(encoding="utf-8"))
    ):
        command = cli.group.get_command(click.Context(cli.group), verb)
        assert command is not None, verb
        options = {word for parameter in command.params for word in parameter.opts}
        assert set(re.findall(r"--[\w-]+", rest)) <= options | {"--help"}


def constants() -> list[tuple[str, str, str]]:
    """Return module, name and value of every constant in a page's tables."""
    rows = []
    for page in PAGES:
        rows += re.findall(
            r"^\| `(\w+(?:\.\w+)*)\.([A-Z_]+)` \| ([^|]+) \|",
            page.read_text(encoding="utf-8"),
            re.MULTILINE,
        )
    return rows


@pytest.mark.parametrize(("module", "name", "said"), constants())
def test_every_constant_in_a_table_has_that_value(module: str, name: str, said: str) -> None:
    value = getattr(importlib.import_module(f"analysis.{module}"), name)
    numbers = re.findall(r"-?\d+(?:\.\d+)?(?:e-?\d+)?", said.replace("−", "-"))
    assert [float(number) for number in numbers] == list(np.atleast_1d(value))


def test_each_check_has_its_section_in_order() -> None:
    text = (ROOT / "docs" / "checks.md").read_text(encoding="utf-8")
    assert re.findall(r"^## (\w+)$", text, re.MULTILINE) == list(NAMES)


# --- The keys of the JSON ---------------------------------------------------------------


def documented(command: str) -> dict[str, str]:
    """Return every key in the tables of a command's section, and when it is null."""
    text = (ROOT / "docs" / "reading.md").read_text(encoding="utf-8")
    section = text.split(f"## `apexline {command}`")[1].split("\n## ")[0]
    keys = {}
    for first, null in re.findall(r"^\| (`[^|]+`) \|[^|]*\| ([^|]+) \|", section, re.MULTILINE):
        for key in re.findall(r"`([^`]+)`", first):
            whole = re.sub(r"^parts\.", "bass.SIDE.features[].causes[].parts.", key)
            for curve in CURVES if "SIDE" in whole else ("",):
                keys[whole.replace("SIDE", curve)] = null
    return keys


def walk(value: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Yield every key of a document and its value; ``[]`` stands for a list's items."""
    if isinstance(value, dict) and path != "bass.spots":
        if path and not value:
            yield path, value
        for key, item in value.items():
            yield from walk(item, f"{path}.{key}" if path else key)
    elif isinstance(value, list) and value and isinstance(value[0], dict):
        for item in value:
            yield from walk(item, f"{path}[]")
    else:
        yield path, value


def below(keys: dict[str, str], path: str) -> bool:
    """Return whether keys of objects below a path are documented."""
    return any(key.startswith((f"{path}.", f"{path}[]")) for key in keys)


def parents(keys: dict[str, str]) -> set[str]:
    """Return the documented keys that are objects of documented keys."""
    return {key for key in keys if below(keys, key)}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("docs")


def run(*words: str) -> str:
    """Run a command that must succeed, and return what it printed."""
    with contextlib.redirect_stdout(io.StringIO()) as printed:
        assert cli.run(words) == 0
    return printed.getvalue()


@pytest.fixture(scope="module")
def readings(folder: Path) -> list[dict[str, Any]]:
    """Read the sample recordings with all that can be given, with nothing, and half silent."""
    (folder / "microphone.txt").write_text("20 1.0\n20000 -2.0\n", encoding="utf-8")
    samples, rate_hz = soundfile.read(SAMPLES / "before.flac")
    silent = samples.copy()
    # The right passes are the second and the third: 9.3 to 24.9 s.
    silent[round(9.3 * rate_hz) : round(24.9 * rate_hz)] = 1e-4 * np.random.default_rng(
        1
    ).standard_normal(round(15.6 * rate_hz))
    soundfile.write(folder / "silent.flac", silent, rate_hz)
    runs = {
        "before": ["--room", str(SAMPLES / "room-before.toml")],
        "after": [
            *("--room", str(SAMPLES / "room-after.toml")),
            *("--spot", "left", str(SAMPLES / "before.flac")),
            *("--mic-correction", str(folder / "microphone.txt")),
        ],
        "silent": [],
    }
    documents = []
    for name, options in runs.items():
        sound = (folder if name == "silent" else SAMPLES) / f"{name}.flac"
        out = folder / f"{name}.json"
        sheet = SAMPLES / "programme.sheet.toml"
        words = ["read", str(sound), "--sweep", str(sheet), "--json", str(out), "--brief"]
        (folder / f"{name}.txt").write_text(run(*words, *options), encoding="utf-8")
        documents.append(json.loads(out.read_text(encoding="utf-8")))
    return documents


def compare_keys(documents: list[dict[str, Any]], keys: dict[str, str]) -> None:
    """Hold the keys of documents against the documented ones, both ways."""
    seen: dict[str, bool] = {}
    for document in documents:
        for path, value in walk(document):
            seen[path] = seen.get(path, False) or value is None
    unknown = {path for path in seen if path not in keys and not below(keys, path)}
    assert unknown == set()
    assert set(keys) - parents(keys) - set(seen) == set()
    assert {path for path, null in seen.items() if null and keys.get(path) == "never"} == set()


def test_every_key_of_a_reading_is_documented_and_every_documented_one_there(
    readings: list[dict[str, Any]],
) -> None:
    keys = documented("read")
    compare_keys(readings, keys)
    assert readings[0]["usable"] is True
    assert readings[2]["usable"] is False
    # What isn't had is null or empty, never absent.
    for document in readings:
        there = {path for path, _ in walk(document)}
        optional = {path for path in keys if re.match(r"(room|microphone|.*spots)\b", path)}
        items = {path for path in keys if "[]" in path}
        assert set(keys) - optional - items - parents(keys) - there == set()


def test_every_key_of_a_comparison_is_documented_and_every_documented_one_there(
    readings: list[dict[str, Any]], folder: Path
) -> None:
    assert len(readings) == 3
    documents = []
    for other in ("after", "silent"):
        out = folder / f"comparison-{other}.json"
        words = ["compare", str(folder / "before.json"), str(folder / f"{other}.json")]
        run(*words, "--json", str(out))
        documents.append(json.loads(out.read_text(encoding="utf-8")))
    compare_keys(documents, documented("compare"))


@pytest.mark.parametrize(
    ("words", "dynamic"),
    [(["about"], {"versions", "sound_problem"}), (["sweep", "s.wav", "--seconds", "1"], set())],
)
def test_every_key_of_the_small_documents_is_on_the_sheets_page(
    words: list[str],
    dynamic: set[str],
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(folder)
    run(*words, "--json", "small.json")
    document = json.loads((folder / "small.json").read_text(encoding="utf-8"))
    page = (ROOT / "docs" / "sheet.md").read_text(encoding="utf-8")
    section = page.split("## `apexline sweep --json`")[1]
    assert dynamic <= set(document)
    assert set(document) <= set(re.findall(r"`(\w+)`", section))


def quoted(start: str) -> list[str]:
    """Return the lines of the README's block that begins so."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    blocks = re.findall(r"^```\n(.*?)^```", text, re.DOTALL | re.MULTILINE)
    (block,) = [block for block in blocks if block.startswith(start)]
    return str(block).splitlines()


@pytest.mark.usefixtures("readings")
def test_the_readme_quotes_the_verdict_word_by_word(folder: Path) -> None:
    said = (folder / "before.txt").read_text(encoding="utf-8").splitlines()
    lines = quoted("Check first that")
    # One warning is left out of the quotation, and nothing is added to it.
    assert [line for line in said if line in lines] == lines
    assert lines[:3] == said[:3]
    verdict = said[: said.index("")]
    assert lines[-1] == verdict[-1]
    assert len(verdict) <= 20
    assert max(map(len, verdict)) <= 80


@pytest.mark.usefixtures("readings")
def test_the_readme_quotes_the_comparison_word_by_word(folder: Path) -> None:
    lines = quoted("Arrival: left minus right changed")
    text = run("compare", str(folder / "before.json"), str(folder / "after.json"))
    assert text.splitlines()[: len(lines)] == lines
