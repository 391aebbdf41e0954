"""When each strand is needed next, as a plan of the build has it: frozen data. Who follows the plan is elsewhere."""

from dataclasses import dataclass
from typing import NamedTuple


class NextUse(NamedTuple):
    """When an input is fed next [s of the watch's time]; infinite: never again in this build."""

    input: int
    start_s: float


@dataclass(frozen=True, slots=True)
class NextUses:
    """What the plan says of the inputs at one moment; inputs that are feeding are absent.

    Parameters
    ----------
    time_s : float
        The moment [s].
    uses : tuple of NextUse
    planned_s : float
        How far the build is, in the plan's time [s].
    pace : float
        How much longer the build takes than planned, by its last minutes [-].
    """

    time_s: float
    uses: tuple[NextUse, ...]
    planned_s: float
    pace: float
