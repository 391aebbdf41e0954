"""The pages of the screen."""

from enum import Enum, auto


class Page(Enum):
    """What fills the screen below the masthead."""

    WATCH = auto()  # the overview
    PATH = auto()
    STRAND = auto()
    TRENDS = auto()
    AHEAD = auto()
    ALERTS = auto()
    HELP = auto()
