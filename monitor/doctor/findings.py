"""What a look at the surroundings found, one line each, and how it is told. Looks at nothing itself."""

from collections.abc import Iterable, Iterator
from enum import StrEnum
from typing import NamedTuple

from connectors.clean_text import clean_text

_LONGEST = 600


class Verdict(StrEnum):
    """How something was found. What cannot be known is `LOOK`, never `FINE`."""

    FINE = "fine"
    LOOK = "look at this"
    WRONG = "wrong"


class Finding(NamedTuple):
    """One thing that was looked at; `advice` says what to do, and is empty only where nothing is to be done."""

    subject: str
    verdict: Verdict
    found: str
    advice: str = ""


def fine(subject: str, found: str) -> Finding:
    """Nothing is to be done."""
    return Finding(subject, Verdict.FINE, found)


def look(subject: str, found: str, advice: str) -> Finding:
    """It works, or may work, but the owner should know."""
    return Finding(subject, Verdict.LOOK, found, advice)


def wrong(subject: str, found: str, advice: str) -> Finding:
    """A watch would not work, or not be safe to leave alone."""
    return Finding(subject, Verdict.WRONG, found, advice)


def lines(findings: Iterable[Finding]) -> Iterator[str]:
    """Tell findings as they come, and how many of each kind at the end."""
    counts = dict.fromkeys(Verdict, 0)
    for each in findings:
        counts[each.verdict] += 1
        advice = f" → {each.advice}" if each.advice else ""
        yield clean_text(f"{each.verdict:<12}  {each.subject}: {each.found}{advice}", _LONGEST)
    yield ", ".join(f"{count} {verdict}" for verdict, count in counts.items())


def is_wrong(findings: Iterable[Finding]) -> bool:
    """Whether anything must be mended before a watch can be left alone."""
    return any(each.verdict is Verdict.WRONG for each in findings)
