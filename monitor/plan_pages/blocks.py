"""What a plan's page is made of: headings, sentences, tables, lists, lines to type, timelines.

The same blocks become text for a terminal (`report`) and a page for a browser (`page`). Knows no layout.
"""

from dataclasses import dataclass
from enum import StrEnum

from monitor.plan_pages.strip import Strip


class Tone(StrEnum):
    """How a piece of text is meant; it must read as well without."""

    PLAIN = ""
    GOOD = "good"
    BAD = "bad"
    MILD = "mild"  # to be done, but nothing is lost
    FAINT = "faint"


@dataclass(frozen=True, slots=True)
class Heading:
    """Title of what follows; `level` 1 is the page's own."""

    text: str
    level: int = 2


@dataclass(frozen=True, slots=True)
class Words:
    """A sentence or some."""

    text: str
    tone: Tone = Tone.PLAIN


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of cells; `wide` is the column that takes what room is left, `right` those set flush right."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    wide: int
    right: tuple[int, ...] = ()
    tones: tuple[Tone, ...] = ()  # of the rows; empty: all plain


@dataclass(frozen=True, slots=True)
class Items:
    """A list of sentences."""

    texts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Typed:
    """Lines as they are typed into a file or at a machine."""

    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Timeline:
    """A picture of the strands over the hours of the build."""

    title: str
    strip: Strip


Block = Heading | Words | Table | Items | Typed | Timeline
