"""In what state a recording was: what of it could not be read, and whether its conclusions came out again."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ReadState:
    """How the reading went.

    Parameters
    ----------
    skipped : int
        Lines that could not be read.
    torn : bool
        Whether the last line is incomplete, as when the watch was cut off.
    damage : str or None
        Why reading ended before the end of the file.
    impossible : int
        Values and times that cannot be, left out.
    verdict : tuple of str
        Whether the conclusions drawn now are those recorded then.
    """

    skipped: int = 0
    torn: bool = False
    damage: str | None = None
    impossible: int = 0
    verdict: tuple[str, ...] = ()
