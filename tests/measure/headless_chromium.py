"""Debian's Chromium without a window, driven by its own DevTools protocol.

It notes every request and every complaint of a page, shows it at a size, in a colour scheme
and in print, and lets axe-core (of the package axe-core-python) look for accessibility faults.
"""

from __future__ import annotations

import base64
import json
import os
import shutil
import subprocess
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest

PATIENCE_S = 40.0

FLAGS = (
    "--headless=new",
    "--no-sandbox",  # the tests may run as root, whom Chromium trusts with nothing else
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-default-apps",
    "--disable-extensions",
    "--no-first-run",
    "--hide-scrollbars",
    "--remote-debugging-port=0",
    # Not even a page that asks reaches anything.
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
)

FAULTS = """axe.run(document, {resultTypes: ["violations"]}).then(found => JSON.stringify(
found.violations.map(one => one.id + ": " + one.nodes.map(node => node.html).join(" | "))))"""

OUTSIDE = """JSON.stringify([...document.body.querySelectorAll("*")].filter(one =>
one.getBoundingClientRect().right > document.documentElement.clientWidth + 1
&& !one.closest("[tabindex]")).map(one => one.outerHTML.slice(0, 80)))"""
"""What stands out sideways; a part that can be scrolled by itself may."""


@dataclass(frozen=True, kw_only=True, slots=True)
class View:
    """How a page is shown: width in CSS pixels, colour scheme, medium."""

    width: int
    scheme: str = "light"
    media: str = "screen"


class Page:
    """A page in the browser."""

    def __init__(self, socket: Any) -> None:
        self._socket = socket
        self._number = 0
        self.requests: list[str] = []
        self.complaints: list[str] = []
        for domain in ("Page", "Network", "Log", "Runtime"):
            self.tell(f"{domain}.enable")

    def tell(self, method: str, **given: Any) -> dict[str, Any]:
        """Give an order, and return the answer."""
        self._number += 1
        self._socket.send(json.dumps({"id": self._number, "method": method, "params": given}))
        while True:
            said = self._next()
            if said.get("id") == self._number:
                assert "error" not in said, said
                return said["result"]

    def _next(self) -> dict[str, Any]:
        """Return the next message, and note what the page did."""
        said = json.loads(self._socket.recv())
        method, given = said.get("method"), said.get("params", {})
        if method == "Network.requestWillBeSent":
            self.requests.append(given["request"]["url"])
        elif method == "Log.entryAdded" and given["entry"]["level"] in ("error", "warning"):
            self.complaints.append(given["entry"]["text"])
        elif method == "Runtime.consoleAPICalled" and given["type"] in ("error", "warning"):
            self.complaints.append(str(given["args"]))
        elif method == "Runtime.exceptionThrown":
            self.complaints.append(str(given["exceptionDetails"]))
        return said

    def show(self, path: Path, view: View) -> None:
        """Load a page."""
        self.tell(
            "Emulation.setDeviceMetricsOverride",
            width=view.width,
            height=900,
            deviceScaleFactor=1,
            mobile=view.width < 500,
        )
        scheme = {"name": "prefers-color-scheme", "value": view.scheme}
        self.tell("Emulation.setEmulatedMedia", media=view.media, features=[scheme])
        self.requests.clear()
        self.complaints.clear()
        self.tell("Page.navigate", url=path.as_uri())
        while self._next().get("method") != "Page.loadEventFired":
            pass

    def value(self, script: str) -> Any:
        """Return what a script gives; the page's own rules don't bind it."""
        said = self.tell("Runtime.evaluate", expression=script, awaitPromise=True)
        assert "exceptionDetails" not in said, said
        return said["result"].get("value")

    def faults(self) -> list[str]:
        """Return what axe-core calls violations."""
        place = find_spec("axe_core_python")
        assert place is not None
        assert place.submodule_search_locations is not None
        folder = Path(place.submodule_search_locations[0])
        self.value((folder / "axe.min.js").read_text(encoding="utf-8") + ";0")
        return json.loads(self.value(FAULTS))

    def outside(self) -> list[str]:
        """Return the elements that stand out sideways."""
        return json.loads(self.value(OUTSIDE))

    def picture(self, path: Path) -> None:
        """Keep the whole page as a picture."""
        raw = self.tell("Page.captureScreenshot", captureBeyondViewport=True)["data"]
        path.write_bytes(base64.b64decode(raw))

    def printed(self) -> bytes:
        """Return the page printed on A4."""
        paper = {"paperWidth": 8.27, "paperHeight": 11.69, "printBackground": False}
        return base64.b64decode(self.tell("Page.printToPDF", **paper)["data"])


@contextmanager
def open_page(folder: Path) -> Iterator[Page]:
    """Start the browser, and end it; skip the test where there is none.

    On Debian under ``CI=true`` it isn't skipped but fails.
    """
    program = shutil.which("chromium")
    missing = [
        name
        for name, there in (
            ("chromium (apt-get install chromium)", program),
            ("websocket-client", find_spec("websocket")),
            ("axe-core-python", find_spec("axe_core_python")),
        )
        if not there
    ]
    if missing:
        reason = f"the page isn't shown, for want of {', '.join(missing)}"
        if os.environ.get("CI") == "true" and _is_debian():
            pytest.fail(reason)
        pytest.skip(reason)
    import websocket

    command = [str(program), *FLAGS, f"--user-data-dir={folder}", "about:blank"]
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    running = subprocess.Popen(command, **quiet)
    try:
        address = _address(folder / "DevToolsActivePort")
        socket = websocket.create_connection(address, timeout=PATIENCE_S, suppress_origin=True)
        yield Page(socket)
        socket.close()
    finally:
        running.terminate()
        try:
            running.wait(10)
        except subprocess.TimeoutExpired:
            running.kill()
            running.wait()


def _is_debian() -> bool:
    """Return whether this is Debian itself, for which tests/rig/install_packages.sh cares."""
    release = Path("/etc/os-release")
    return release.is_file() and "\nID=debian" in "\n" + release.read_text(encoding="utf-8")


def _address(port_file: Path) -> str:
    """Return where the first page listens, as soon as the browser says it."""
    end_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < end_s:
        try:
            port = int(port_file.read_text(encoding="utf-8").splitlines()[0])
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/json/list") as answer:
                pages = [one for one in json.load(answer) if one["type"] == "page"]
            return str(pages[0]["webSocketDebuggerUrl"])
        except (OSError, ValueError, IndexError):
            time.sleep(0.1)
    msg = "Chromium didn't start"
    raise AssertionError(msg)
