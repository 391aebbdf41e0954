"""What a report is made of, before it becomes a page or Markdown. Frozen data; every text in it is plain text."""

from typing import NamedTuple


class Heading(NamedTuple):
    """A heading; level 1 is the title."""

    text: str
    level: int = 2


class Words(NamedTuple):
    """A paragraph; `is_lead` where it says the most important thing."""

    text: str
    is_lead: bool = False


class Items(NamedTuple):
    """A list."""

    texts: tuple[str, ...]


class Table(NamedTuple):
    """A table; `right` are the columns of numbers."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: tuple[int, ...] = ()


class Plot(NamedTuple):
    """A picture: SVG of our own making, and the same in words for who does not see it."""

    title: str
    says: str
    svg: str


Block = Heading | Words | Items | Table | Plot
