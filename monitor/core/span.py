"""A range of a quantity that is not known better."""

from typing import NamedTuple


class Span(NamedTuple):
    """A range: `low` is the cautious end, `high` the hopeful one; infinity where nothing runs out."""

    low: float
    high: float
