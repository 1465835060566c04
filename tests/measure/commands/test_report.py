"""The page of a take and of two groups of takes."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from contextlib import redirect_stdout
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pytest
from headless_chromium import Page, View, open_page

from measure import cli

SAMPLES = Path(__file__).parents[3] / "sample_data"


def run(*words: str, status: int = 0) -> str:
    """Run a command and return what it printed."""
    with redirect_stdout(io.StringIO()) as printed:
        assert cli.run(words) == status
    return printed.getvalue()


@pytest.fixture(scope="module")
def logbook(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a logbook with the sample recordings; one name is hostile to a page."""
    path = tmp_path_factory.mktemp("report") / "log"
    run("log", "new", str(path))
    log = ["log", "--log", str(path)]
    run(*log, "add", "room", "Attic", "--room-file", str(SAMPLES / "room-before.toml"))
    for file, name in (("before", '<b>&"first"</b>'), ("after", "second")):
        words = [str(SAMPLES / f"{file}.flac"), "--sweep", str(SAMPLES / "programme.sheet.toml")]
        labels = ["--name", name, "--pair", "Birch", "--room", "Attic"]
        run(*log, "import", *words, *labels, "--made", "2026-03-01T20:15:00")
    return path


@pytest.fixture(scope="module")
def pages(logbook: Path) -> list[Path]:
    """Return the page of a take, that of two groups, that of a pair, and that of two pairs."""
    out = [logbook.parent / f"{name}.html" for name in ("take", "groups", "pair", "pairs")]
    log, name = ["--log", str(logbook)], '<b>&"first"</b>'
    run("report", name, *log, "--out", str(out[0]))
    run("report", "--before", name, "--after", "second", *log, "--out", str(out[1]))
    run("report", "--pair", "birch", *log, "--out", str(out[2]))
    run("report", "--pairs", "--before", name, "--after", "second", *log, "--out", str(out[3]))
    return out


class Strict(HTMLParser):
    """Holds that every element is closed in its order, and gathers what a reader is given."""

    VOID = frozenset({"meta", "br", "link", "img", "hr", "input"})

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.headings: list[str] = []
        self.attributes: list[tuple[str, str]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note an element that opens."""
        self.attributes += [(name, value or "") for name, value in attrs]
        if tag not in self.VOID:
            self.open.append(tag)
        if re.fullmatch(r"h\d", tag):
            self.headings.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note an element without content."""
        assert tag
        self.attributes += [(name, value or "") for name, value in attrs]

    def handle_endtag(self, tag: str) -> None:
        """Hold that the last one opened closes."""
        assert self.open.pop() == tag


@pytest.mark.parametrize("index", [0, 1, 2, 3])
def test_a_page_is_whole_asks_for_nothing_and_says_every_figure(
    pages: list[Path], index: int
) -> None:
    # Invariant: well-formed; no address to load; unique ids; each figure has its text.
    text = pages[index].read_text(encoding="utf-8")
    strict = Strict()
    strict.feed(text)
    assert strict.open == []
    assert strict.headings[0] == "h1"
    assert "h1" not in strict.headings[1:]
    assert {"src", "href", "onload", "action"} & {name for name, _ in strict.attributes} == set()
    assert not re.search(r"https?://|url\((?!#)|@import", text)
    ids = [value for name, value in strict.attributes if name == "id"]
    assert len(ids) == len(set(ids))
    figures = re.findall(r"<svg.*?</svg>", text, re.DOTALL)
    assert len(figures) >= 2
    for figure in figures:
        root = ElementTree.fromstring(figure)
        title = root.find("title")
        assert title is not None
        assert len(title.text or "") > 40
        assert root.attrib["aria-labelledby"] == title.attrib["id"]
    assert "<b>" not in text
    assert "&lt;b&gt;&amp;" in text


def test_the_same_take_gives_the_same_bytes(pages: list[Path], logbook: Path) -> None:
    # Invariant.
    again = logbook.parent / "again.html"
    run("report", '<b>&"first"</b>', "--log", str(logbook), "--out", str(again))
    assert again.read_bytes() == pages[0].read_bytes()


def test_a_page_says_what_the_reading_says(pages: list[Path]) -> None:
    # Second method: the words of `apexline read` on the same recording.
    said = run(
        "read",
        str(SAMPLES / "before.flac"),
        *("--sweep", str(SAMPLES / "programme.sheet.toml")),
        *("--room", str(SAMPLES / "room-before.toml"), "--brief"),
    )
    move = r"Move the right loudspeaker ([\d.]+ ± [\d.]+ mm)"
    number = re.findall(move, " ".join(said.split()))
    assert number
    text = pages[0].read_text(encoding="utf-8")
    assert re.findall(move, text) == number
    assert "room mode" in text


def test_what_cannot_be_is_told(logbook: Path, tmp_path: Path) -> None:
    out = str(tmp_path / "page.html")
    run("report", "--out", out, status=2)
    run("report", "nobody", "--log", str(logbook), "--out", out, status=2)
    run("report", "second", "--log", str(logbook), "--out", str(tmp_path / "page.wav"), status=2)
    assert list(tmp_path.iterdir()) == []


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    """Yield a page in a browser."""
    with open_page(tmp_path_factory.mktemp("browser")) as page:
        yield page


VIEWS = {
    "desktop": View(width=1100),
    "dark": View(width=1100, scheme="dark"),
    "phone": View(width=390),
    "A4": View(width=794, media="print"),
}


@pytest.mark.parametrize("view", VIEWS)
@pytest.mark.parametrize("index", [0, 1, 2, 3])
def test_a_browser_shows_the_page_without_fault(
    page: Page, pages: list[Path], index: int, view: str
) -> None:
    # Second method: Debian's Chromium, and axe-core 4.4. Nothing is asked for but the page
    # itself, nothing complained of, nothing stands out sideways. axe-core sees only part of
    # what can be wrong; it leaves the contrast of figures of one letter undecided.
    page.show(pages[index], VIEWS[view])
    assert page.faults() == []
    assert page.outside() == []
    assert page.value("document.documentElement.scrollWidth") <= VIEWS[view].width
    dark = page.value("getComputedStyle(document.body).backgroundColor") == "rgb(22, 24, 27)"
    assert dark == (view == "dark")
    if view == "A4":
        n_sheets = len(re.findall(rb"/Type\s*/Page\b", page.printed()))
        assert 1 <= n_sheets <= 9
    assert page.requests == [pages[index].as_uri()]
    assert page.complaints == []


def test_the_browser_notices_what_is_wrong(page: Page, tmp_path: Path) -> None:
    # Known input: each fault planted once; a browser that sees nothing would pass above.
    path = tmp_path / "bad.html"
    path.write_text(
        "<!doctype html><html lang=en><title>x</title><main><h1>x</h1>"
        "<img src='https://nowhere.invalid/a.png'><p style='color:#ccc;background:#fff'>pale</p>"
        "<div style='width:2000px'>wide</div><script>console.error('loud')</script></main>",
        encoding="utf-8",
    )
    page.show(path, VIEWS["phone"])
    found = [one.split(":")[0] for one in page.faults()]
    assert {"image-alt", "color-contrast"} <= set(found)
    assert len(page.outside()) == 1
    assert "https://nowhere.invalid/a.png" in page.requests
    assert any("loud" in one for one in page.complaints)
