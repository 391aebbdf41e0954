"""How a strand of the simulated machine ages while it stands hot, and when it is beyond being pushed.

Owns the stand-in's own, deliberately plain truth: of each strand one lump in the hot channel, whose rate of ageing
doubles every so many kelvin, and which new strand renews bit by bit. It shares neither form nor figures with the dose
that the watch reckons, and the watch never sees it. All figures are invented, like the strands.
"""

from collections.abc import Mapping
from math import exp
from random import Random
from types import MappingProxyType
from typing import Final, NamedTuple

STATED_C: Final = 195.0
"""Temperature of the manifold at which the times to jam are stated."""
LUMP_MM: Final = 18.0
"""Strand that stands in the hot channel."""
SPREAD: Final = 0.035
"""From lot to lot a strand's time to jam differs by up to this share."""


class AgeLaw(NamedTuple):
    """How long a strand may stand at `STATED_C` before its next push jams it [h], and what doubles its ageing [K]."""

    jams_h: float
    doubles_k: float


AGE_LAWS: Final[Mapping[int, AgeLaw]] = MappingProxyType(
    {
        1: AgeLaw(11.5, 11.0),
        2: AgeLaw(13.0, 12.5),
        3: AgeLaw(9.8, 12.0),
        4: AgeLaw(7.4, 10.0),
        5: AgeLaw(14.0, 14.0),
        6: AgeLaw(10.1, 11.5),
    }
)
"""Of each input. Each lies between what the invented materials' own limits and high estimates come to at 195 °C."""


class StrandAge:
    """One strand's lump: how long it has stood, as hours at `STATED_C`."""

    def __init__(self, law: AgeLaw, random: Random) -> None:
        self.age_h = 0.0
        self.jams_at_h = law.jams_h * random.uniform(1.0 - SPREAD, 1.0 + SPREAD)
        self._doubles_k = law.doubles_k

    @property
    def is_beyond(self) -> bool:
        """Whether it jams when it is pushed now."""
        return self.age_h > self.jams_at_h

    def stand(self, step_s: float, manifold_c: float) -> None:
        """Age for `step_s` [s] in a channel of that temperature."""
        self.age_h += step_s / 3600.0 * 2.0 ** ((manifold_c - STATED_C) / self._doubles_k)

    def renew(self, new_mm: float) -> None:
        """Let this much new strand take the place of what was there [mm], mixing with it."""
        self.age_h *= exp(-new_mm / LUMP_MM)
