"""What the table of alerts says of one condition. Owns the columns; the rows stand in `alert_table.py`."""

from dataclasses import dataclass
from typing import Final

from monitor.core.alert_types import Priority

UNDER_WAY: Final = "it is on its way to its set point"
LINK_LOST: Final = "no data come from the machine"
BUILD_OVER: Final = "the build is over and the machine is cold"
JUST_RESUMED: Final = "the watch was started anew just now, and has not heard of everything yet"
"""States of the machine in which an alert may be held back: what suppresses by design (ISA-18.2 / IEC 62682)."""


@dataclass(frozen=True, slots=True)
class Rule:
    """One row of the table.

    `priorities` has one entry per level, rising: a condition with a warn and a stop limit is one alert that escalates,
    not two. `needs_fresh` conditions neither rise nor clear while the machine is silent, `needs_walls` ones while any
    wall sensor of the strands is.
    """

    condition: str
    title: str
    cause: str
    consequence: str
    action: str  # in general; the alert itself says it with its numbers
    priorities: tuple[Priority, ...]
    unit: str
    respond_within_s: float
    deadband: float
    on_delay_s: float
    off_delay_s: float
    needs_fresh: bool
    needs_walls: bool = False
    group: str = ""  # alerts of one group have one cause; `{subject}` stands for the point's; empty: each its own
    latches_from: int = 0  # level from which it is held, once over, until somebody has looked and resets it; 0: never
    re_alarm_s: float | None = None  # an ALARM seen this long ago that still stands calls again; None: never
    suppressed_by: tuple[str, ...] = ()  # states of the machine in which it is not announced
    first_within_s: float | None = None  # time to respond at the first level, where that leaves more; None: the same

    def within_s(self, level: int) -> float:
        """Time there is to respond at a level [s]."""
        return self.respond_within_s if level > 1 or self.first_within_s is None else self.first_within_s
