"""A strand that is fed through an encoder, for tests of the stall evidence; plainer than any machine.

Owns steady feed with whole counts and losses told by the test. No noise unless asked for.
"""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from random import Random

from monitor.core.stall import Drive, FeedReading, StallLaw, StallState, advance_stall, initial_stall, stall_law


def law_of(count_mm: float | None = 0.1, period_s: float = 0.25, **drive: float) -> StallLaw:
    """Law of an input with this encoder."""
    known = Drive(encoder_mm_per_count=count_mm, **drive)
    return stall_law(known, filament_diameter_mm=1.75, min_feed_c=190.0, report_period_s=period_s)


@dataclass
class Strand:
    """Commanded and sensed feed of one strand; `readings` go on from where the last ones ended."""

    count_mm: float = 0.1
    period_s: float = 0.25
    speed_mm_s: float = 2.0
    healthy_slip: float = 0.0
    manifold_c: float | None = 220.0
    set_c: float | None = 220.0
    hot_idle_s: float = 0.0
    offset_mm: float = 0.0  # of the encoder's counter
    has_encoder: bool = True
    flag: bool | None = None
    time_s: float = 0.0
    fed_mm: float = 0.0
    strand_mm: float = 0.0
    random: Random = field(default_factory=lambda: Random(1))  # noqa: S311 - a simulation, not a secret

    def reading(self) -> FeedReading:
        """What is reported now."""
        sensed_mm = math.floor(self.strand_mm / self.count_mm + 1e-9) * self.count_mm + self.offset_mm
        return FeedReading(
            self.time_s,
            self.fed_mm,
            sensed_mm if self.has_encoder else None,
            self.flag,
            self.manifold_c,
            self.set_c,
            self.hot_idle_s,
        )

    def feed(
        self, length_mm: float, slip: Callable[[float], float] | float = 0.0, walk: float = 0.0
    ) -> Iterator[FeedReading]:
        """Feed so much; `slip` is the share lost, or that share after so many mm; `walk` is random loss per sqrt mm."""
        fed_mm, step_mm = 0.0, self.speed_mm_s * self.period_s
        while fed_mm < length_mm - 1e-9:
            lost = slip if isinstance(slip, float) else slip(fed_mm)
            yield self.move(step_mm, lost + self.random.gauss(0.0, walk) / math.sqrt(step_mm) if walk else lost)
            fed_mm += step_mm

    def move(self, moved_mm: float, slip: float = 0.0) -> FeedReading:
        """One period with this move."""
        self.time_s += self.period_s
        self.fed_mm += moved_mm
        self.strand_mm += moved_mm * (1.0 - slip - self.healthy_slip)
        return self.reading()


def watch(law: StallLaw, state: StallState | None, readings: Iterator[FeedReading]) -> StallState:
    """State after the readings."""
    state = initial_stall(law) if state is None else state
    for reading in readings:
        state = advance_stall(law, state, reading)
    return state
