"""A real browser for tests: Chromium without a window, spoken to over its pipe (Chrome DevTools Protocol).

with Browser(path) as browser:
    page = browser.page()
    page.open(file.as_uri(), width=800)
    page.evaluate("document.title")
"""

from __future__ import annotations

import base64
import fcntl
import json
import os
import select
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from types import TracebackType
from typing import Any

import pytest

_ANSWERS_WITHIN_S = 60.0
_OPTIONS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--remote-debugging-pipe",
)


def installed() -> str | None:
    """The browser's program, where there is one."""
    return next((found for name in ("chromium", "chromium-browser") if (found := shutil.which(name))), None)


def required() -> str:
    """The browser's program; without one the test is skipped, or fails where TRAINER_REQUIRE_BROWSER=1."""
    found = installed()
    if found is None:
        reason = "there is no chromium here (Debian: apt-get install chromium)"
        if os.environ.get("TRAINER_REQUIRE_BROWSER") == "1":
            pytest.fail(f"TRAINER_REQUIRE_BROWSER=1, and {reason}", pytrace=False)
        pytest.skip(reason)
    return found


@dataclass
class Page:
    """One page. `requests` are the addresses it asked for, `troubles` what it wrote to its console or log as errors."""

    browser: Browser
    session: str
    requests: list[str] = field(default_factory=list)
    troubles: list[str] = field(default_factory=list)

    def call(self, method: str, **parameters: Any) -> dict[str, Any]:
        return self.browser.call(method, parameters, self.session)

    def open(self, address: str, width: int = 1280, height: int = 900, media: dict[str, str] | None = None) -> None:
        """Go there in a window of this size, and wait until it has loaded."""
        self.requests.clear()
        self.troubles.clear()
        self.call("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=False)
        features = [{"name": name, "value": value} for name, value in (media or {}).items()]
        self.call("Emulation.setEmulatedMedia", features=features)
        self.call("Page.navigate", url=address)
        deadline = time.monotonic() + _ANSWERS_WITHIN_S
        while self.evaluate("document.readyState + location.href") != f"complete{address}":
            assert time.monotonic() < deadline, "the page does not load"
            time.sleep(0.02)

    def evaluate(self, expression: str) -> Any:
        """The value of a JavaScript expression."""
        answer = self.call("Runtime.evaluate", expression=expression, returnByValue=True)
        assert "exceptionDetails" not in answer, answer["exceptionDetails"]
        return answer["result"].get("value")

    def press(self, key: str, code: int) -> None:
        """Press a key of the computer, as in ``press("Tab", 9)``."""
        for kind in ("rawKeyDown", "keyUp"):
            self.call("Input.dispatchKeyEvent", type=kind, key=key, code=key, windowsVirtualKeyCode=code)
        if key == "Enter":
            self.call("Input.dispatchKeyEvent", type="char", key=key, code=key, text="\r", windowsVirtualKeyCode=code)

    def picture(self) -> bytes:
        """What is in the window, as PNG."""
        return base64.b64decode(self.call("Page.captureScreenshot", format="png")["data"])

    def printed(self, width_mm: float, height_mm: float) -> bytes:
        """What the printer gets on paper of this size, as PDF."""
        inch = 25.4
        answer = self.call(
            "Page.printToPDF", paperWidth=width_mm / inch, paperHeight=height_mm / inch, preferCSSPageSize=False
        )
        return base64.b64decode(answer["data"])

    def nodes(self) -> Iterator[tuple[str, str]]:
        """Role and name of everything that a screen reader meets."""
        for node in self.call("Accessibility.getFullAXTree")["nodes"]:
            if not node.get("ignored"):
                yield node["role"]["value"], node.get("name", {}).get("value", "")


class Browser:
    """The browser's process; it ends with the block."""

    def __init__(self, program: str) -> None:
        self._program = program
        self._number = 0
        self._read = b""
        self._pages: dict[str, Page] = {}

    def __enter__(self) -> Browser:
        self._folder = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)
        to_browser, self._out = os.pipe()
        self._in, from_browser = os.pipe()
        # The protocol's pipe is file descriptors 3 and 4; a shell moves there what is handed on above them.
        high = [fcntl.fcntl(each, fcntl.F_DUPFD, 20) for each in (to_browser, from_browser)]
        moved = f'exec "$@" 3<&{high[0]} 4>&{high[1]}'
        self._process = subprocess.Popen(
            ["bash", "-c", moved, "bash", self._program, *_OPTIONS, f"--user-data-dir={self._folder.name}"],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            pass_fds=high,
            start_new_session=True,
        )
        for each in (to_browser, from_browser, *high):
            os.close(each)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        os.close(self._out)
        os.close(self._in)
        try:
            self._process.wait(5)
        except subprocess.TimeoutExpired:
            os.killpg(self._process.pid, signal.SIGKILL)  # the session that was begun for it, and nothing else
            self._process.wait()
        self._folder.cleanup()

    def page(self) -> Page:
        """A new page that notes what it asks for and what goes wrong on it."""
        target = self.call("Target.createTarget", {"url": "about:blank"})["targetId"]
        session = self.call("Target.attachToTarget", {"targetId": target, "flatten": True})["sessionId"]
        page = self._pages[session] = Page(self, session)
        for domain in ("Page", "Runtime", "Log", "Network", "Accessibility"):
            page.call(f"{domain}.enable")
        return page

    def call(self, method: str, parameters: dict[str, Any], session: str = "") -> dict[str, Any]:
        """Ask, and wait for the answer; what happens meanwhile is noted on its page."""
        self._number += 1
        message = {"id": self._number, "method": method, "params": parameters}
        if session:
            message["sessionId"] = session
        os.write(self._out, json.dumps(message).encode() + b"\0")
        deadline = time.monotonic() + _ANSWERS_WITHIN_S
        while True:
            answer = self._next(deadline)
            if answer.get("id") == self._number:
                assert "error" not in answer, answer["error"]
                return answer["result"]
            self._note(answer)

    def _next(self, deadline: float) -> dict[str, Any]:
        while b"\0" not in self._read:
            ready, _, _ = select.select([self._in], [], [], max(0.0, deadline - time.monotonic()))
            chunk = os.read(self._in, 1 << 20) if ready else b""
            assert chunk, "the browser does not answer"
            self._read += chunk
        message, _, self._read = self._read.partition(b"\0")
        answer: dict[str, Any] = json.loads(message)
        return answer

    def _note(self, event: dict[str, Any]) -> None:
        page = self._pages.get(event.get("sessionId", ""))
        if page is None:
            return
        told = event.get("params", {})
        match event.get("method"):
            case "Network.requestWillBeSent":
                page.requests.append(told["request"]["url"])
            case "Log.entryAdded" if told["entry"]["level"] in ("error", "warning"):
                page.troubles.append(told["entry"]["text"])
            case "Runtime.consoleAPICalled" | "Runtime.exceptionThrown":
                page.troubles.append(json.dumps(told)[:500])
