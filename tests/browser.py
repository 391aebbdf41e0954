"""A real browser without a window, for tests of pages: what it says of a page, and whether it asked anybody."""

import os
import shutil
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Final

import pytest

_NAMES: Final = ("chromium", "chromium-browser", "google-chrome", "chrome")
_LONGEST_S: Final = 90.0
DARK: Final = "--blink-settings=preferredColorScheme=0"


@dataclass(frozen=True, slots=True)
class Seen:
    """The page as the browser made it, and what stood on its console."""

    dom: str
    console: tuple[str, ...]


def browser() -> str:
    """Path of a browser; the test is skipped where there is none."""
    found = next(filter(None, map(shutil.which, _NAMES)), None)
    if found is None:
        pytest.skip(f"no browser is installed: none of {', '.join(_NAMES)}")
    return found


def opened(page: Path, folder: Path) -> Seen:
    """Open a page, let it settle, and give what came of it."""
    done = _run(page, folder, "--dump-dom")
    lines = done.stderr.decode(errors="replace").splitlines()
    return Seen(done.stdout.decode(), tuple(line for line in lines if ":CONSOLE" in line))


def pictured(page: Path, folder: Path, *options: str) -> bytes:
    """Picture of a page, as PNG."""
    out = folder / "picture.png"
    _run(page, folder, f"--screenshot={out}", "--window-size=1000,1600", "--hide-scrollbars", *options)
    return out.read_bytes()


def printed(page: Path, folder: Path) -> bytes:
    """The page on paper, as PDF."""
    out = folder / "paper.pdf"
    _run(page, folder, f"--print-to-pdf={out}")
    return out.read_bytes()


def _run(page: Path, folder: Path, *options: str) -> "subprocess.CompletedProcess[bytes]":
    command = [
        browser(),
        "--headless",
        "--disable-gpu",
        "--no-first-run",
        "--enable-logging=stderr",
        "--virtual-time-budget=2000",
        f"--user-data-dir={folder / 'browser'}",
        *(["--no-sandbox"] if os.geteuid() == 0 else []),  # its sandbox does not work for root
        *options,
        page.as_uri(),
    ]
    return subprocess.run(command, capture_output=True, timeout=_LONGEST_S, check=True)  # noqa: S603 -- the browser


@contextmanager
def trap() -> Iterator[tuple[str, list[str]]]:
    """A server of our own that nobody should ask: its address, and the paths that were asked for."""
    asked: list[str] = []

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_error(404)

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_address[1]}", asked
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
