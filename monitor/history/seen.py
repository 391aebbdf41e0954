"""What a history looks at of one moment. An assessment has it all; so has a cheaper look, or a recorded summary.

Types and nothing else.
"""

from collections.abc import Sequence
from typing import Protocol

from monitor.core.assessment import Activity, Quality
from monitor.core.span import Span
from monitor.core.stall_findings import FlowSlip


class SeenWall(Protocol):
    """One sensor of the hot path: `monitor.core.assessment.WallReading` is one."""

    @property
    def sensor(self) -> str:
        """Its name."""
        ...

    @property
    def temp_c(self) -> float | None:
        """Last value known [°C]."""
        ...

    @property
    def set_c(self) -> float | None:
        """Set point [°C]."""
        ...

    @property
    def duty(self) -> float | None:
        """Share of its heater's power [-]."""
        ...

    @property
    def quality(self) -> Quality:
        """Trust in it."""
        ...


class SeenStrand(Protocol):
    """One strand: `monitor.core.assessment.StrandAssessment` is one."""

    @property
    def input(self) -> int:
        """Its input."""
        ...

    @property
    def activity(self) -> Activity:
        """What it is doing."""
        ...

    @property
    def quality(self) -> Quality:
        """Trust in what is said of it."""
        ...

    @property
    def idle_s(self) -> float:
        """Since new material last moved [s]."""
        ...

    @property
    def feed_mm_s(self) -> float:
        """Mean commanded speed of late [mm/s]."""
        ...

    @property
    def fed_mm(self) -> float | None:
        """Feed since the session began [mm]; None before the first report."""
        ...

    @property
    def dose_now_min(self) -> float:
        """Highest dose [min at the reference temperature]."""
        ...

    @property
    def limit_left_s(self) -> Span:
        """Until it passes its limit dose if nothing changes [s]."""
        ...

    @property
    def hottest_c(self) -> float:
        """Hottest part of it [°C]."""
        ...

    @property
    def softening_min(self) -> float:
        """Dose where it must be stiff [min at 20 K above glass]."""
        ...

    @property
    def soft_front_mm(self) -> float:
        """How far upstream it is soft [mm]."""
        ...

    @property
    def flow_slip(self) -> tuple[FlowSlip, ...]:
        """Slip as an encoder told it since the session began."""
        ...


class SeenLiner(Protocol):
    """A liner: `monitor.core.assessment.LinerReading` is one."""

    @property
    def zone(self) -> str:
        """Where it is."""
        ...

    @property
    def hottest_c(self) -> float:
        """Its hottest wall [°C]."""
        ...


class SeenShared(Protocol):
    """What the shared channel holds of a strand: `monitor.core.assessment.SharedReading` is one."""

    @property
    def dose_min(self) -> float:
        """Its highest dose [min]."""
        ...

    @property
    def dose_warn_min(self) -> float:
        """Dose at which to warn [min]."""
        ...


class Seen(Protocol):
    """One moment: `monitor.core.assessment.Assessment` is one."""

    @property
    def time_s(self) -> float:
        """Machine time [s]."""
        ...

    @property
    def quality(self) -> Quality:
        """Trust in what is said of the whole."""
        ...

    @property
    def walls(self) -> Sequence[SeenWall]:
        """The sensors."""
        ...

    @property
    def strands(self) -> Sequence[SeenStrand]:
        """The strands."""
        ...

    @property
    def liners(self) -> Sequence[SeenLiner]:
        """The liners whose limits are known."""
        ...

    @property
    def shared(self) -> Sequence[SeenShared]:
        """What the shared channel holds."""
        ...
