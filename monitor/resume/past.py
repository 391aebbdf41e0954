"""What a recording's own summaries tell of its past, for a history: nothing is judged again for it.

Owns how such a summary is read. What it cannot read it leaves out: it is only for looking at.
"""

import math
from collections.abc import Mapping
from typing import Any

import msgspec

from monitor.core.assessment import Activity, Quality
from monitor.core.span import Span
from monitor.core.stall_findings import FlowSlip


class PastWall(msgspec.Struct, frozen=True):
    """One sensor."""

    sensor: str
    quality: Quality
    temp_c: float | None = None
    set_c: float | None = None
    duty: float | None = None


class PastStrand(msgspec.Struct, frozen=True):
    """One strand. Slip is not in these summaries."""

    input: int
    activity: Activity
    quality: Quality
    idle_s: float
    feed_mm_s: float
    dose_now_min: float
    hottest_c: float
    softening_min: float
    soft_front_mm: float
    fed_mm: float | None = None
    limit_left_low_s: float | None = None
    limit_left_high_s: float | None = None

    @property
    def limit_left_s(self) -> Span:
        """Time left; what was infinite was written as null."""
        low_s, high_s = self.limit_left_low_s, self.limit_left_high_s
        return Span(math.inf if low_s is None else low_s, math.inf if high_s is None else high_s)

    @property
    def flow_slip(self) -> tuple[FlowSlip, ...]:
        """Nothing."""
        return ()


class PastLiner(msgspec.Struct, frozen=True):
    """One liner."""

    zone: str
    hottest_c: float


class PastShared(msgspec.Struct, frozen=True):
    """One strand's part of the shared channel."""

    dose_min: float
    dose_warn_min: float


class PastMoment(msgspec.Struct, frozen=True):
    """One moment, as `monitor.history.seen.Seen`."""

    time_s: float
    quality: Quality
    walls: tuple[PastWall, ...]
    strands: tuple[PastStrand, ...]
    liners: tuple[PastLiner, ...] = ()
    shared: tuple[PastShared, ...] = ()


def past_moment(time_s: float, data: Mapping[str, Any]) -> PastMoment | None:
    """Read a recorded summary (`monitor.plain_data.assessment_data`); None where it is none."""
    try:
        return msgspec.convert({**data, "time_s": time_s}, PastMoment)
    except msgspec.ValidationError:
        return None
