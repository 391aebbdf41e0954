"""The power balance of the heaters that melt: whether the melt takes the heat that its feed should.

Owns what a sample means for each heater's balance. It is the evidence where a drive has neither encoder nor flags.
Knows nothing of how the balance works (heater_balance.py) or is told.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, NamedTuple

from connectors.telemetry import channel
from monitor.core.feed import Feeds
from monitor.core.heater_balance import (
    ALLOWANCE,
    HeaterBalance,
    HeaterReading,
    advance_balance,
    initial_balance,
    is_missing,
    least_missing_j,
    least_missing_mm3,
    why_unavailable,
)
from monitor.core.hot_path import merge_sensors
from monitor.core.parameters import Heater, Parameters
from monitor.core.stall_findings import BalanceSight

_FASTEST_MM3_S: Final = 200.0
_NO_HEATER: Final = "no heater at the merge point has a known power"


class Melting(NamedTuple):
    """One heater's balance, and all that had been fed when it was last read [mm]."""

    balance: HeaterBalance
    fed_mm: float = 0.0


Meltings = tuple[Melting, ...]


@dataclass(frozen=True, slots=True)
class MeltWatch:
    """The fixed part: heaters whose sensor stands for the wall at the merge point, and the strand's cross-section."""

    heaters: tuple[Heater, ...]
    channels: tuple[tuple[str, str], ...]  # temperature and duty of each
    strand_mm2: float

    def initial(self) -> Meltings:
        """Nothing is known yet."""
        return (Melting(initial_balance()),) * len(self.heaters)

    def after(self, meltings: Meltings, values: Mapping[str, float], time_s: float, feeds: Feeds) -> Meltings:
        """Balances after a sample."""
        if not any(duty in values for _, duty in self.channels):
            return meltings
        fed_mm = sum(feed.high_mm - feed.first_mm for feed in feeds.strands)
        return tuple(self._read(index, melting, values, time_s, fed_mm) for index, melting in enumerate(meltings))

    def missing_j(self, meltings: Meltings) -> list[float]:
        """Energy that each heater's melt should have taken and did not; minus infinity where that may be chance [J]."""
        return [melting.balance.missing.total if is_missing(melting.balance) else -math.inf for melting in meltings]

    def sights(self, meltings: Meltings, inputs: tuple[int, ...]) -> tuple[BalanceSight, ...]:
        """What each heater can see of these inputs, of which nothing else tells; nothing where there are none."""
        if not inputs:
            return ()
        if not self.heaters:
            return (BalanceSight("", inputs, _NO_HEATER, None, None, ALLOWANCE),)
        pairs = zip(self.heaters, meltings, strict=True)
        return tuple(self._sight(heater.name, melting.balance, inputs) for heater, melting in pairs)

    def _sight(self, name: str, balance: HeaterBalance, inputs: tuple[int, ...]) -> BalanceSight:
        why_not, known = why_unavailable(balance), balance.calibration
        if why_not is not None:
            return BalanceSight(name, inputs, why_not, None, None, ALLOWANCE)
        least_mm = least_missing_mm3(known) / self.strand_mm2
        return BalanceSight(name, inputs, "", least_missing_j(known), least_mm, ALLOWANCE)

    def _read(self, index: int, melting: Melting, values: Mapping[str, float], time_s: float, fed_mm: float) -> Melting:
        temp, duty = self.channels[index]
        temp_c, share = values.get(temp), values.get(duty)
        if temp_c is None or share is None:
            return melting
        last = melting.balance.last
        elapsed_s = 0.0 if last is None else time_s - last.time_s
        flow_mm3_s = (fed_mm - melting.fed_mm) * self.strand_mm2 / elapsed_s if elapsed_s > 0.0 else 0.0
        if not 0.0 <= flow_mm3_s <= _FASTEST_MM3_S:
            return Melting(melting.balance, fed_mm)  # a jump of the counter, not feed
        reading = HeaterReading(time_s, temp_c, share, self.heaters[index].power_w, flow_mm3_s)
        return Melting(advance_balance(melting.balance, reading), fed_mm)


def melt_watch(parameters: Parameters) -> MeltWatch:
    """Prepare the watch of the heaters at the merge point."""
    sensors = merge_sensors(parameters)
    heaters = tuple(heater for heater in parameters.heaters if heater.sensor in sensors)
    return MeltWatch(
        heaters,
        tuple((channel("temp_c", heater.sensor), channel("duty", heater.sensor)) for heater in heaters),
        math.pi / 4 * parameters.filament_diameter_mm**2,
    )
