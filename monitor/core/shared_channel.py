"""What lies between the merge point and the nozzle: from which strand, for how long, and how aged.

Plug flow: what was fed first leaves first; strands do not mix on the way (they do, somewhat: what is told of
proportions is right for the whole, not for a place). A retraction and its return count as nothing. Knows nothing of the
strands upstream but what they hand over.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from monitor.core.assessment import Array
from monitor.core.parameters import Parameters

_FINEST: Final = 1 / 32  # of the channel: within so little of it plugs of one strand are taken as one
_MANY: Final = 96  # plugs


class Plug(NamedTuple):
    """A stretch of melt from one strand."""

    strand: int
    volume_mm3: float
    entered_s: float
    start_min: float  # its dose at entry, less what the channel had aged such material by then


class SharedState(NamedTuple):
    """Plugs from the merge point on, and how much the channel has aged each strand's material since the start [min]."""

    plugs: tuple[Plug, ...]
    aged_min: Array


class Content(NamedTuple):
    """What the channel holds of one strand."""

    strand: int
    share: float  # of the channel's volume [-]
    oldest_s: float  # when the oldest part of it entered
    dose_min: float  # highest


@dataclass(frozen=True, slots=True, eq=False)
class SharedChannel:
    """The fixed part: its volume, and the strands' cross-section and number."""

    capacity_mm3: float
    strand_mm2: float
    strands: int

    def initial(self) -> SharedState:
        """Nothing is known of what was there before."""
        return SharedState((), np.zeros(self.strands))

    def aged(self, state: SharedState, step_s: float, rate: Array) -> SharedState:
        """State after `step_s` seconds in which material of each strand ages by `rate` [min per min]."""
        return SharedState(state.plugs, state.aged_min + rate * (step_s / 60.0))

    def fed(
        self, state: SharedState, time_s: float, new_mm: Sequence[float], handed_min: Sequence[float]
    ) -> SharedState:
        """State after strands have fed.

        Parameters
        ----------
        new_mm : Sequence[float]
            New material of each strand, 0 or more [mm of strand].
        handed_min : Sequence[float]
            Dose it had at the merge point [min].
        """
        plugs = state.plugs
        for strand, (length_mm, dose_min) in enumerate(zip(new_mm, handed_min, strict=True)):
            if length_mm > 0.0:
                plug = Plug(strand, length_mm * self.strand_mm2, time_s, dose_min - float(state.aged_min[strand]))
                plugs = self._within(_joined(plug, plugs, self.capacity_mm3 * _FINEST))
        return state if plugs is state.plugs else state._replace(plugs=plugs)

    def contents(self, state: SharedState) -> tuple[Content, ...]:
        """What it holds, strand by strand; shares add up to less than 1 while what was there before is not gone."""
        by_strand: dict[int, list[Plug]] = {}
        for plug in state.plugs:
            by_strand.setdefault(plug.strand, []).append(plug)
        return tuple(
            Content(
                strand,
                min(1.0, sum(plug.volume_mm3 for plug in plugs) / self.capacity_mm3),
                min(plug.entered_s for plug in plugs),
                max(plug.start_min for plug in plugs) + float(state.aged_min[strand]),
            )
            for strand, plugs in sorted(by_strand.items())
        )

    def worst_share(self, state: SharedState, limits_min: Sequence[float]) -> float:
        """Highest dose in it as a share of that strand's own limit [-]; minus infinity where nothing is known."""
        aged_min = state.aged_min.tolist()
        shares = ((plug.start_min + aged_min[plug.strand]) / limits_min[plug.strand] for plug in state.plugs)
        return max(shares, default=-math.inf)

    @property
    def length_mm(self) -> float:
        """Strand that fills it: feeding so much renews it [mm]."""
        return self.capacity_mm3 / self.strand_mm2

    def _within(self, plugs: tuple[Plug, ...]) -> tuple[Plug, ...]:
        """Plugs that still have room, the last of them cut off at the nozzle."""
        left_mm3 = self.capacity_mm3
        for index, plug in enumerate(plugs):
            if plug.volume_mm3 >= left_mm3:
                return (*plugs[:index], plug._replace(volume_mm3=left_mm3))
            left_mm3 -= plug.volume_mm3
        return plugs


def shared_channel(parameters: Parameters) -> SharedChannel | None:
    """The channel of one machine; None where the merge point is the nozzle's end."""
    zones = parameters.zones[parameters.last_before_merge + 1 :]
    capacity_mm3 = sum(math.pi / 4 * zone.bore_mm**2 * zone.length_mm for zone in zones)
    strand_mm2 = math.pi / 4 * parameters.filament_diameter_mm**2
    return SharedChannel(capacity_mm3, strand_mm2, len(parameters.strands)) if zones else None


def _joined(plug: Plug, plugs: tuple[Plug, ...], finest_mm3: float) -> tuple[Plug, ...]:
    """Plugs with a new one before them, or joined with one of its strand among the newest, finest part of the channel.

    With the newest alone, so that order is kept; once plugs are many, with any in that part, so that they stay so few.
    """
    newest_mm3 = 0.0
    for index, older in enumerate(plugs if len(plugs) >= _MANY else plugs[:1]):
        newest_mm3 += older.volume_mm3
        if newest_mm3 >= finest_mm3:
            break
        if older.strand == plug.strand:
            both_mm3 = plug.volume_mm3 + older.volume_mm3
            # of the two, the earlier entry and the higher dose: it errs to the cautious side
            both = Plug(plug.strand, both_mm3, older.entered_s, max(plug.start_min, older.start_min))
            return (*plugs[:index], both, *plugs[index + 1 :])
    return (plug, *plugs)
