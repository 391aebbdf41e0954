"""A real browser that a test drives while a page lives: opens, evaluates, presses, resizes, looks.

It speaks the DevTools protocol over a pipe (`--remote-debugging-pipe`: messages end with a zero), so that no port is
opened, and nothing of it is taken for what our own links send.
"""

import base64
import json
import os
import select
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.browser import browser

SAFETY_S = 30.0
"""Only a net: nothing waits this long when all is well."""

_BECOME = """
import os, sys
ends = [os.dup(int(end)) for end in sys.argv[1:3]]
for end, where in zip(ends, (30, 31)):
    os.dup2(end, where)
for where, wanted in ((30, 3), (31, 4)):
    os.dup2(where, wanted)
os.execv(sys.argv[3], sys.argv[3:])
"""
"""The browser reads at descriptor 3 and writes at 4; in between they lie where neither is in the way."""


class LivePage:
    """One page of a running browser."""

    def __init__(self, read: int, write: int) -> None:
        self._read, self._write, self._kept, self._number, self._session = read, write, b"", 0, ""
        self.events: list[dict[str, Any]] = []
        target = self.ask("Target.createTarget", url="about:blank")["targetId"]
        self._session = self.ask("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Network", "Log"):
            self.ask(f"{domain}.enable")

    def ask(self, method: str, **parameters: Any) -> dict[str, Any]:  # noqa: ANN401 -- any JSON
        """Have the browser do something; give what it answers."""
        self._number += 1
        message = {"id": self._number, "method": method, "params": parameters}
        if self._session:
            message["sessionId"] = self._session
        os.write(self._write, json.dumps(message).encode() + b"\0")
        while True:
            told = self._next()
            if told.get("id") == self._number:
                assert "error" not in told, told
                result: dict[str, Any] = told["result"]
                return result
            self.events.append(told)

    def open(self, address: str) -> None:
        """Go to an address."""
        self.ask("Page.navigate", url=address)

    def value(self, script: str) -> Any:  # noqa: ANN401 -- any JSON
        """Value of an expression in the page."""
        told = self.ask("Runtime.evaluate", expression=script, returnByValue=True)
        assert "exceptionDetails" not in told, told
        return told["result"].get("value")

    def until(self, script: str) -> Any:  # noqa: ANN401 -- any JSON
        """Wait until an expression is true in the page; give it."""
        end = time.monotonic() + SAFETY_S
        tried = f"(() => {{ try {{ return {script} }} catch {{ return null }} }})()"  # it may not be there yet
        while not (value := self.value(tried)):
            assert time.monotonic() < end, f"never came true: {script}; the page: {self.text()[:3000]}"
            time.sleep(0.05)
        return value

    def until_complained(self, words: str) -> None:
        """Wait until the browser has complained of something in these words."""
        end = time.monotonic() + SAFETY_S
        while not any(words in str(told["params"]) for told in self.events if told["method"] == "Log.entryAdded"):
            assert time.monotonic() < end, f"never complained of {words}: {self.events}"
            self.value("0")  # lets it tell more
            time.sleep(0.05)

    def text(self) -> str:
        """What can be read."""
        return str(self.value("document.body.innerText"))

    def size(self, width: int, height: int, *, dark: bool = False, phone: bool = False) -> None:
        """Give the window a size [px], as on a phone if wished."""
        self.ask("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=2, mobile=phone)
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.ask("Emulation.setEmulatedMedia", features=[scheme])

    def press(self, key: str, text: str = "") -> None:
        """Press a key of the keyboard."""
        for kind in ("keyDown", "keyUp"):
            self.ask("Input.dispatchKeyEvent", type=kind, key=key, text=text if kind == "keyDown" else "")

    def picture(self) -> bytes:
        """What can be seen, as PNG."""
        return base64.b64decode(self.ask("Page.captureScreenshot", format="png")["data"])

    def _next(self) -> dict[str, Any]:
        end = time.monotonic() + SAFETY_S
        while b"\0" not in self._kept:
            assert time.monotonic() < end, "the browser says nothing"
            if select.select([self._read], [], [], 0.5)[0]:
                data = os.read(self._read, 1 << 16)
                assert data, "the browser is gone"
                self._kept += data
        message, _, self._kept = self._kept.partition(b"\0")
        told: dict[str, Any] = json.loads(message)
        return told


@contextmanager
def live_page(folder: Path) -> Iterator[LivePage]:
    """Start a browser with one page; the test is skipped where there is none."""
    their_in, our_out = os.pipe()
    our_in, their_out = os.pipe()
    command = [
        browser(), "--headless", "--disable-gpu", "--no-first-run", "--remote-debugging-pipe",
        "--disable-background-networking", "--disable-component-update", "--disable-sync",
        f"--user-data-dir={folder / 'browser'}", *(["--no-sandbox"] if os.geteuid() == 0 else []),
    ]  # fmt: skip
    process = subprocess.Popen(  # noqa: S603 -- the browser
        [sys.executable, "-E", "-S", "-c", _BECOME, str(their_in), str(their_out), *command],
        pass_fds=(their_in, their_out), stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    os.close(their_in)
    os.close(their_out)
    try:
        yield LivePage(our_in, our_out)
    finally:
        os.close(our_out)  # it ends when nobody speaks to it any more
        try:
            process.wait(SAFETY_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        os.close(our_in)
