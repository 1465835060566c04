"""The page of a take and of two groups of takes."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from contextlib import redirect_stdout
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pytest

from measure import cli

SAMPLES = Path(__file__).parents[2] / "sample_data"
BROWSER = shutil.which("chromium")


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
    """Return the page of a take, that of two groups, and that of a pair."""
    out = [logbook.parent / name for name in ("take.html", "groups.html", "pair.html")]
    log, name = ["--log", str(logbook)], '<b>&"first"</b>'
    run("report", name, *log, "--out", str(out[0]))
    run("report", "--before", name, "--after", "second", *log, "--out", str(out[1]))
    run("report", "--pair", "birch", *log, "--out", str(out[2]))
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


@pytest.mark.parametrize("index", [0, 1, 2])
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
    number = re.findall(r"Move the right loudspeaker (\d+) mm", said)
    assert number
    text = pages[0].read_text(encoding="utf-8")
    assert re.findall(r"Move the right loudspeaker (\d+) mm", text) == number
    assert "room mode" in text


def test_what_cannot_be_is_told(logbook: Path, tmp_path: Path) -> None:
    out = str(tmp_path / "page.html")
    run("report", "--out", out, status=2)
    run("report", "nobody", "--log", str(logbook), "--out", out, status=2)
    run("report", "second", "--log", str(logbook), "--out", str(tmp_path / "page.wav"), status=2)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(BROWSER is None, reason="no Chromium here: the page isn't shown")
def test_a_browser_lays_the_page_out_on_a_phone(pages: list[Path], tmp_path: Path) -> None:
    # Second method: a real browser, 390 pixels wide; nothing may stand out sideways.
    text = pages[0].read_text(encoding="utf-8")
    text = re.sub(r"<meta http-equiv[^>]*>", "", text)
    probe = "<script>document.title=document.documentElement.scrollWidth+' wide'</script></body>"
    (tmp_path / "page.html").write_text(text.replace("</body>", probe), encoding="utf-8")
    (tmp_path / "phone.html").write_text(
        '<iframe id="f" src="page.html" style="width:390px;height:800px;border:0" onload='
        '"document.title=f.contentDocument.title"></iframe>',
        encoding="utf-8",
    )
    flags = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking"]
    done = subprocess.run(
        [
            str(BROWSER),
            *flags,
            "--allow-file-access-from-files",
            f"--user-data-dir={tmp_path / 'browser'}",
            "--dump-dom",
            (tmp_path / "phone.html").as_uri(),
        ],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    (width,) = re.findall(r"<title>(\d+) wide</title>", done.stdout)
    assert int(width) <= 390
