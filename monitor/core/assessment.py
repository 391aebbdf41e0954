"""What the engine concludes: the one type that screens, recordings and notifiers see.

Frozen data and nothing else. Arrays are read-only. Units stand in the names.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from connectors.telemetry import Execution
from monitor.core.advice_types import Advice
from monitor.core.alert_types import Alert
from monitor.core.span import Span
from monitor.core.stall_findings import BalanceSight, FlowSlip, StallFinding

Array = NDArray[np.float64]


class Quality(StrEnum):
    """Trust in a value (Sparkplug 3.0's words)."""

    GOOD = "GOOD"
    STALE = "STALE"
    BAD = "BAD"


class Condition(StrEnum):
    """State of a strand or of the machine (MTConnect's words)."""

    NORMAL = "NORMAL"
    WARNING = "WARNING"
    FAULT = "FAULT"
    UNAVAILABLE = "UNAVAILABLE"


class Activity(StrEnum):
    """What a strand is doing."""

    FEEDING = "feeding"
    IDLE = "idle"  # hot and standing still
    COLD = "cold"  # standing still, manifold not hot enough to harm it
    WITHDRAWN = "withdrawn"  # drawn back out of the hot path


@dataclass(frozen=True, slots=True)
class ZonePlace:
    """Where a zone lies: x in mm upstream of the merge point, so zones beyond it have negative x."""

    name: str
    hot_end_mm: float  # the smaller x
    cold_end_mm: float  # the larger x
    sensor: str | None
    liner: str | None


@dataclass(frozen=True, slots=True)
class WallReading:
    """One sensor of the hot path. `temp_c` is the last value known, None if there never was one."""

    sensor: str
    temp_c: float | None
    set_c: float | None
    duty: float | None
    quality: Quality
    age_s: float
    is_estimate: bool = False  # reckoned by the model, because the sensor is not there or silent


@dataclass(frozen=True, slots=True)
class SharedReading:
    """What the shared channel, from the merge point to the nozzle, holds of one strand."""

    input: int
    share: float  # of the channel's volume [-]
    age_s: float  # of the oldest part of it, since it passed the merge point
    dose_min: float  # highest, in minutes at the material's reference temperature
    dose_warn_min: float
    dose_limit_min: float


@dataclass(frozen=True, slots=True, eq=False)
class StrandAssessment:
    """One strand now.

    `x_mm`, `temp_c` and `dose_min` run along the strand from the merge point upstream (equal lengths, read-only).
    """

    input: int
    material: str
    label: str
    activity: Activity
    condition: Condition
    quality: Quality
    idle_s: float  # since new material last moved
    feed_mm_s: float  # mean commanded speed over the last few seconds, signed
    fed_mm: float | None  # cumulative since the session began, None before the first report
    dose_now_min: float  # oldest material upstream of the merge point, minutes at reference_c
    dose_warn_min: float
    dose_limit_min: float
    reference_c: float
    warn_left_s: Span  # until dose_warn_min if nothing changes; 0 when passed
    limit_left_s: Span
    hottest_c: float
    glass_c: float
    softening_min: float  # where it must be stiff: minutes at 20 K above glass_c
    softening_warn_min: float
    softening_limit_min: float
    soft_front_mm: float  # how far upstream the strand is above its glass transition; 0 when nowhere
    stiff_from_mm: float  # upstream of here it must be stiff: the upstream end of the last zone that may be hot
    merge_wall_c: float  # manifold wall at the merge point
    min_feed_c: float
    min_feed_is_rule: bool
    x_mm: Array
    temp_c: Array
    dose_min: Array
    stand_in: str = ""  # the material that values were borrowed of, empty without
    stand_in_for: tuple[str, ...] = ()  # the values borrowed, as a materials table calls them
    idle_low_s: float | None = None  # the low end of `idle_s` where a gap in the data leaves it open, else None
    dose_low_min: float | None = None  # likewise of `dose_now_min`: the dose if all was cold while no data came
    stall: StallFinding | None = None  # None while the strand moves as it should, or nothing tells
    flow_slip: tuple[FlowSlip, ...] = ()  # slip as it was observed, by flow and manifold temperature
    next_use_s: float | None = None  # from now, as a plan of the build has it; infinite: never again; None: not known
    doubt: str = ""  # the datum that makes most of the range of `limit_left_s`; empty where there is no range

    @property
    def dose_share(self) -> float:
        """Dose as a share of its limit [-]."""
        return self.dose_now_min / self.dose_limit_min


@dataclass(frozen=True, slots=True)
class LinerReading:
    """Hottest liner wall of one zone, with its limits [°C]."""

    zone: str
    liner: str
    hottest_c: float
    warn_c: float
    alarm_c: float
    stop_c: float
    above_warn_s: float  # time spent above each limit since the session began
    above_alarm_s: float
    above_stop_s: float


@dataclass(frozen=True, slots=True, eq=False)
class Assessment:
    """Everything known at one moment.

    Of alerts with one cause only the leading one is among `alerts`; it names the others. They come most urgent first:
    by priority, then unacknowledged, then newest. `counts` tells how many events of each kind the session has seen
    (samples, malformed, link changes …).
    """

    time_s: float
    machine: str
    execution: Execution | None
    progress: float | None
    link_available: bool
    link_reason: str
    sample_age_s: float
    quality: Quality
    condition: Condition
    zones: tuple[ZonePlace, ...]
    walls: tuple[WallReading, ...]
    strands: tuple[StrandAssessment, ...]
    liners: tuple[LinerReading, ...]
    alerts: tuple[Alert, ...]
    counts: Mapping[str, int]
    shared: tuple[SharedReading, ...] = ()  # the shared channel, strand by strand
    held_back: tuple[Alert, ...] = ()  # shelved, suppressed by design or out of service
    advice: tuple[Advice, ...] = ()  # empty while nothing is wrong, nor will be within the hour
    balances: tuple[BalanceSight, ...] = ()  # empty where encoders or drivers tell how every strand moves
