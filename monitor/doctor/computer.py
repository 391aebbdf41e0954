"""The computer as a watch needs it: terminal, Python and libraries, clock, whoever starts it.

Pure: judges what `sight` saw. Knows nothing of files, profiles or machines.
"""

import re
from collections.abc import Iterable, Iterator, Mapping
from datetime import UTC, datetime
from typing import Final, NamedTuple

from monitor.doctor.findings import Finding, fine, look, wrong

LEAST_COLUMNS: Final = 80
LEAST_ROWS: Final = 24
"""The size that terminals have had since the first ones: the screen is laid out for it."""
LEAST_PYTHON: Final = (3, 11)
PAST_BY_S: Final = 86_400.0
"""A clock further than this [s] behind a file that was already written is wrong, whatever its time zone."""

_REQUIREMENT = re.compile(r"(?P<name>[\w.-]+?)\s*(?:\[[^]]*\])?\s*\(?(?P<bounds>[<>=!~][^;)]*)?\)?\s*(?:;.*)?")
_BOUND = re.compile(r"(?P<sign>>=|==|<)\s*(?P<version>[\w.]+)")


class Terminal(NamedTuple):
    """What shows the screen. `colours` is how many it says it has; None when it does not say."""

    is_terminal: bool
    encoding: str
    columns: int
    rows: int
    kind: str
    colours: int | None
    is_plain_asked: bool


class Clock(NamedTuple):
    """Time of day [s since the epoch]; whether it is kept by a time server, None when not known."""

    now_s: float
    newest_file_s: float
    is_synchronised: bool | None


def terminal(seen: Terminal) -> Iterator[Finding]:
    """Judge what shows the screen."""
    if not seen.is_terminal:
        yield fine("terminal", "none: a watch prints plain lines (--json for programs)")
    else:
        yield _size(seen)
        yield _colours(seen)
    yield _encoding(seen)


def _size(seen: Terminal) -> Finding:
    shown = f"{seen.columns} × {seen.rows}"
    if seen.columns >= LEAST_COLUMNS and seen.rows >= LEAST_ROWS:
        return fine("terminal size", shown)
    return look("terminal size", shown, f"{LEAST_COLUMNS} × {LEAST_ROWS} or more shows everything; make it larger")


def _colours(seen: Terminal) -> Finding:
    few = 8
    if seen.kind in {"", "dumb"}:
        return look("terminal kind", f"TERM is {seen.kind!r}", "set TERM to what it is, or use --headless")
    if seen.is_plain_asked:
        return fine("colours", "none, as NO_COLOR asks; every state is told in words too")
    if seen.colours is None:
        return look(
            "terminal kind",
            f"TERM is {seen.kind!r}, of which this computer knows nothing",
            "set TERM to what the terminal is, such as xterm-256color; colours may be missing till then",
        )
    if seen.colours < few:
        return look("colours", f"{seen.kind} has none", "states are told in words too; a terminal with 256 is nicer")
    return fine("colours", f"{seen.colours} ({seen.kind})")


def _encoding(seen: Terminal) -> Finding:
    if seen.encoding.lower().replace("-", "").replace("_", "") == "utf8":
        return fine("characters", "UTF-8")
    advice = "signs such as ° and ± come out as '?'; set LANG to a UTF-8 locale, such as C.UTF-8"
    return look("characters", seen.encoding or "not known", advice)


def python(version: tuple[int, ...]) -> Finding:
    """Judge the interpreter."""
    shown = ".".join(map(str, version))
    if version[:2] >= LEAST_PYTHON:
        return fine("Python", shown)
    return wrong("Python", shown, f"install Python {'.'.join(map(str, LEAST_PYTHON))} or newer")


def libraries(required: Iterable[str] | None, installed: Mapping[str, str]) -> Iterator[Finding]:
    """Hold every library against the bounds that the package states; None where there is no package."""
    if required is None:
        yield look("libraries", "strandwatch runs without being installed", "bounds cannot be checked; install it")
        return
    count = 0
    for text in required:
        if "extra ==" in text:
            continue  # what only some commands need says so itself when it is missing
        match = _REQUIREMENT.fullmatch(text.strip())
        if match is None:
            yield look("libraries", f"the need {text!r} is not understood", "see that it is installed")
            continue
        count += 1
        yield from _library(match["name"], match["bounds"] or "", installed.get(plain_name(match["name"])))
    yield fine("libraries", f"{count} looked at")


def _library(name: str, bounds: str, version: str | None) -> Iterator[Finding]:
    advice = f"pip install --upgrade '{name}{bounds.strip()}'"
    if version is None:
        yield wrong(f"library {name}", "not installed", advice)
        return
    for bound in _BOUND.finditer(bounds):
        if not _fits(numbers(version), bound["sign"], numbers(bound["version"])):
            place = f"{version} is installed, {bounds.strip()} is needed"
            is_newer = bound["sign"] == "<"
            yield (
                look(f"library {name}", f"{place}: newer than tested", advice)
                if is_newer
                else wrong(f"library {name}", place, advice)
            )


def plain_name(name: str) -> str:
    """One spelling of a package's name (Python packaging: names and normalization).

    >>> plain_name("Py.Serial_asyncio")
    'py-serial-asyncio'
    """
    return re.sub(r"[-_.]+", "-", name).lower()


def numbers(version: str) -> tuple[int, ...]:
    """Numbers at the beginning of a version, without zeros at the end.

    >>> numbers("2.11.0"), numbers("8.2.8rc1"), numbers("3.5.post1")
    ((2, 11), (8, 2, 8), (3, 5))
    """
    found = [int(match[0]) for part in version.split(".") if (match := re.match(r"\d+", part)) is not None]
    while found and found[-1] == 0:
        found.pop()
    return tuple(found)


def _fits(version: tuple[int, ...], sign: str, bound: tuple[int, ...]) -> bool:
    return {">=": version >= bound, "==": version == bound, "<": version < bound}[sign]


def clock(seen: Clock) -> Iterator[Finding]:
    """Judge the time of day, which recordings and messages carry. The watch itself counts on no time of day."""
    shown = f"{datetime.fromtimestamp(seen.now_s, UTC):%Y-%m-%d %H:%M} UTC"
    if seen.now_s < seen.newest_file_s - PAST_BY_S:
        newest = f"{datetime.fromtimestamp(seen.newest_file_s, UTC):%Y-%m-%d}"
        yield wrong("clock", f"{shown}, but files here are of {newest}", "set it: it is in the past")
    elif seen.is_synchronised:
        yield fine("clock", f"{shown}, kept by a time server")
    elif seen.is_synchronised is None:
        yield look("clock", f"{shown}; whether a time server keeps it is not known", "compare it with another clock")
    else:
        advice = "times in recordings and messages may be off: switch on a time service (timedatectl set-ntp true)"
        yield look("clock", f"{shown}, kept by no time server", advice)


def service(environ: Mapping[str, str], *, has_systemd: bool) -> Finding:
    """Tell who could keep a watch running."""
    if environ.get("NOTIFY_SOCKET"):
        return fine("service manager", "this program was started by one, and gives it signs of work")
    if has_systemd:
        return fine("service manager", "systemd; `strandwatch watch --print-unit` writes a unit that keeps a watch up")
    return look("service manager", "none found", "nothing starts a watch again after a power cut: start it by hand")
