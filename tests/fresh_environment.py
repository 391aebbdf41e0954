"""A fresh virtual environment, and packages put into it by pip. Knows which of pip's failures is a missing registry."""

import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

_UNREACHED: Final = ("connection broken by", "Max retries exceeded", "Temporary failure in name resolution")
_QUICKLY: Final = ("--disable-pip-version-check", "--no-input", "--retries", "2", "--timeout", "20")


class NotReachedError(Exception):
    """The package registry was not reached: nothing is proved, and nothing is refuted."""


class PipError(Exception):
    """What pip was asked for cannot be had; the text is its own last lines."""


def pip(*words: str) -> str:
    """Run this interpreter's pip, and give what it prints."""
    command = [sys.executable, "-m", "pip", *words, *_QUICKLY]
    done = subprocess.run(command, capture_output=True, text=True, check=False)  # noqa: S603 -- pip, with words of ours
    if done.returncode == 0:
        return done.stdout
    if any(sign in done.stderr for sign in _UNREACHED):
        raise NotReachedError(_last(done.stderr))
    raise PipError(_last(done.stderr) or f"pip ended with {done.returncode}")


def _last(text: str) -> str:
    """The lines that say what was wrong, without what pip only remarks."""
    return "\n".join([line for line in text.splitlines() if line.strip() and not line.startswith("WARNING")][-6:])


@contextmanager
def fresh(python: str = sys.executable) -> Iterator[Path]:
    """Make an environment of that interpreter, with nothing in it, not even pip; gives its own interpreter."""
    with tempfile.TemporaryDirectory(prefix="strandwatch-") as folder:
        place = Path(folder, "environment")
        subprocess.run([python, "-m", "venv", "--without-pip", str(place)], check=True)  # noqa: S603 -- an interpreter
        yield place / "bin" / "python"


def install(python: Path, *what: str) -> None:
    """Put packages into an environment."""
    pip("--python", str(python), "install", "--quiet", *what)
