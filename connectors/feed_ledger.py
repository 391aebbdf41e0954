"""What the controller says about feed -> cumulative feed per input that never jumps.

Owns the re-basing of counters (axis reset, wrap, power cycle, a damaged digit) and the sharing of one feed axis among
the inputs by active tool and mix. Counts only feed that is proven: where an interval hides a reset or a change of tool,
nothing is credited, so that a strand is never taken for fresher than it is. Knows nothing of lines or settings files.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

Shares = Mapping[int, float]
"""Input -> share of the feed axis that it gets; shares need not sum to 1."""

DEFAULT_RETRACT_LIMIT_MM: Final = 5.0
DEFAULT_FASTEST_MM_S: Final = 60.0


@dataclass(frozen=True, slots=True)
class FeedBounds:
    """What a counter of feed can do between two reports.

    Parameters
    ----------
    retract_limit_mm : float
        Longer than any retraction [mm]: a greater fall is a reset of the counter.
    fastest_mm_s : float
        No drive feeds faster [mm/s]: a greater rise is a jump of the counter.
    wrap_mm : float or None
        Value at which the counter begins again at zero [mm]; None when it does not.
    """

    retract_limit_mm: float = DEFAULT_RETRACT_LIMIT_MM
    fastest_mm_s: float = DEFAULT_FASTEST_MM_S
    wrap_mm: float | None = None


class RunningTotal:
    """Follows one counter and tells by how much it really moved.

    A jump is held as suspect until the next report confirms it, because one damaged digit looks the same.
    """

    def __init__(self, bounds: FeedBounds) -> None:
        self._bounds = bounds
        self._last: tuple[float, float] | None = None
        self._before: tuple[float, float] | None = None  # the accepted reading before the last
        self._credited_mm = 0.0  # from that to the last
        self._suspect: tuple[float, float] | None = None
        self.rebased = 0

    def advance(self, reading_mm: float, time_s: float) -> float | None:
        """Distance moved since the last accepted reading [mm]; None while the reading is suspect.

        The first reading after a start only sets the baseline: the distance is 0.
        """
        here = (reading_mm, time_s)
        if self._last is None:
            self._last = here
            return 0.0
        step_mm = self._step(self._last, here)
        if step_mm is None and self._suspect is not None:
            step_mm = self._confirmed(self._last, self._suspect, here)
            self.rebased += step_mm is not None
        self._suspect = here if step_mm is None else None
        if step_mm is not None:
            self._before, self._last, self._credited_mm = self._last, here, step_mm
        return step_mm

    def _confirmed(
        self, last: tuple[float, float], suspect: tuple[float, float], here: tuple[float, float]
    ) -> float | None:
        """Distance to credit when `here` confirms a suspect; None when it does not.

        When the suspect fits the reading before the last, the last was the damaged one: what it was credited is taken
        back, or one wrong digit would pass for fresh strand. A jump that was only re-based to was credited nothing.
        """
        step_mm = self._step(suspect, here)
        if step_mm is None or self._before is None or suspect[0] >= last[0]:
            return step_mm
        is_near_before = suspect[0] - self._before[0] >= -self._bounds.retract_limit_mm
        moved_mm = self._step(self._before, suspect) if is_near_before else None
        return step_mm if moved_mm is None else step_mm + moved_mm - self._credited_mm

    def restart(self) -> None:
        """Forget the baseline: the next reading begins a new one and nothing is credited up to it."""
        self._last = self._before = self._suspect = None

    def _step(self, before: tuple[float, float], here: tuple[float, float]) -> float | None:
        """Plausible distance between two readings, or None."""
        limit_mm = self._bounds.retract_limit_mm
        most_mm = limit_mm + self._bounds.fastest_mm_s * max(0.0, here[1] - before[1])
        step_mm = here[0] - before[0]
        if self._bounds.wrap_mm is not None and step_mm < -limit_mm:
            step_mm += self._bounds.wrap_mm
        return step_mm if -limit_mm <= step_mm <= most_mm else None


class FeedLedger:
    """Cumulative commanded feed of every input since the watch began.

    Parameters
    ----------
    shares : Mapping[int, Shares]
        Tool (or drive) number of the controller -> how its feed is shared among the inputs.
    bounds : FeedBounds
        What a counter of feed can do.
    tool : int or None
        Tool known to be active at the start.
    axis_mm_per_mm : float
        Reading of the single feed axis per millimetre of strand; 1 unless the axis counts volume.
    """

    def __init__(
        self,
        shares: Mapping[int, Shares],
        bounds: FeedBounds | None = None,
        tool: int | None = None,
        axis_mm_per_mm: float = 1.0,
    ) -> None:
        self._shares = shares
        self._bounds = bounds or FeedBounds()
        self._tool = tool
        self._axis_mm_per_mm = axis_mm_per_mm
        self._axis = RunningTotal(self._bounds)
        self._drives: dict[int, RunningTotal] = {}
        self._flow: dict[int, float] = {}
        self._fed_mm = dict.fromkeys((number for share in shares.values() for number in share), 0.0)

    @property
    def tool(self) -> int | None:
        """The active tool; None when it is not known."""
        return self._tool

    @property
    def rebased(self) -> int:
        """How often a counter was found to have been reset, and was re-based."""
        return self._axis.rebased + sum(total.rebased for total in self._drives.values())

    def select(self, tool: int | None) -> None:
        """The tool changed (None: it is no longer known). The running interval is shared by nobody knows whom."""
        if tool != self._tool:
            self._axis.restart()
        self._tool = tool

    def scale_flow(self, tool: int, factor: float) -> None:
        """From now on the single feed axis moves `factor` times what it says while `tool` is active."""
        self._flow[tool] = factor

    def restart(self, tool: int | None) -> None:
        """The controller restarted, or was out of sight: all baselines are void, `tool` is active (None: unknown)."""
        self._axis.restart()
        self._drives.clear()
        self._flow.clear()
        self._tool = tool

    def take_axis(self, reading_mm: float, time_s: float) -> Mapping[int, float]:
        """Feed of all inputs [mm] after a report of the single feed axis; empty when the report proves nothing.

        `reading_mm` is in the axis's own unit, `time_s` [s] the time of receipt.
        """
        if self._tool is None or self._tool not in self._shares:
            self._axis.restart()
            return {}
        step_mm = self._axis.advance(reading_mm / self._axis_mm_per_mm, time_s)
        if step_mm is None:
            return {}
        self._credit(self._shares[self._tool], step_mm * self._flow.get(self._tool, 1.0))
        return MappingProxyType(dict(self._fed_mm))

    def take_drives(self, readings_mm: Mapping[int, float], time_s: float) -> Mapping[int, float]:
        """Feed [mm] of the inputs whose own drives were reported at `time_s` [s]; suspect ones are left out."""
        moved: dict[int, float] = {}
        for drive, reading_mm in readings_mm.items():
            share = self._shares.get(drive)
            if share is None:
                continue
            step_mm = self._drives.setdefault(drive, RunningTotal(self._bounds)).advance(reading_mm, time_s)
            if step_mm is not None:
                self._credit(share, step_mm)
                moved |= {number: self._fed_mm[number] for number in share}
        return moved

    def _credit(self, share: Shares, step_mm: float) -> None:
        for number, weight in share.items():
            self._fed_mm[number] += weight * step_mm
