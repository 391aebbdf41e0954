"""Strands whose time left is a range for one reason each: all else is sure. By hand, of no material."""

from dataclasses import dataclass
from math import log
from typing import Final

import numpy as np

from monitor.core.forecast import Ageing

LIMIT_MIN: Final = 100.0


@dataclass(frozen=True)
class Doubt:
    """One parcel that stands, with a single thing in doubt, and the time left if that turns out well [min]."""

    ageing: Ageing
    high_min: float
    limit_high_min: float = LIMIT_MIN


def _standing(
    *, dose_min: float = 10.0, unsure_min: float = 0.0, cautious: float = 1.0, hopeful: float = 1.0, wet: float = 1.0
) -> Ageing:
    """A parcel that ages by so many minutes per minute."""
    one = np.ones(1)
    return Ageing(one, dose_min * one, unsure_min * one, log(cautious) * one, log(hopeful) * one, log(wet), 0.0)


DOUBTS: Final = {
    "activation energy": Doubt(_standing(hopeful=0.5), 180.0),  # 90 min to go, at half the rate
    "moisture": Doubt(_standing(cautious=3.0, wet=3.0), 90.0),  # 90 min at a third of the rate: 30 min if wet
    "dose limit": Doubt(_standing(), 190.0, 200.0),
    "gap in the data": Doubt(_standing(dose_min=60.0, unsure_min=50.0), 90.0),  # 40 min if the gap was hot
}
