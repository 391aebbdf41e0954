"""From the engine's state to what is known of liners, of the shared channel, and of strands that nothing sees move.

Reads the state, changes nothing.
"""

from monitor.core.assessment import LinerReading, SharedReading
from monitor.core.engine_state import EngineState, Model
from monitor.core.parameters import Strand
from monitor.core.shared_channel import Content
from monitor.core.stall_findings import BalanceSight


def shared_readings(model: Model, state: EngineState) -> tuple[SharedReading, ...]:
    """What the shared channel holds, strand by strand; nothing without one."""
    if model.shared is None or state.shared is None:
        return ()
    return tuple(
        _shared_reading(model.parameters.strands[content.strand], content, state.time_s)
        for content in model.shared.contents(state.shared)
    )


def _shared_reading(strand: Strand, content: Content, time_s: float) -> SharedReading:
    material = strand.material
    age_s = time_s - content.oldest_s
    return SharedReading(strand.input, content.share, age_s, content.dose_min, material.warn_min, material.limit_min)


def liner_readings(model: Model, state: EngineState) -> tuple[LinerReading, ...]:
    """Liners whose limits are known, with the time spent above them."""
    if state.field is None:
        return ()
    rows = zip(model.liner_zones, state.field.walls.liners_c, state.liner_above_s, strict=True)
    return tuple(_liner(model, index, liner_c, above_s) for index, liner_c, above_s in rows)


def _liner(model: Model, index: int, hottest_c: float, above_s: tuple[float, ...]) -> LinerReading:
    zone = model.parameters.zones[index]
    name = zone.liner or ""
    limits = model.parameters.liners[name]
    return LinerReading(zone.name, name, hottest_c, limits.warn_c, limits.alarm_c, limits.stop_c, *above_s)


def balance_sights(model: Model, state: EngineState) -> tuple[BalanceSight, ...]:
    """What the heaters' power can show of strands that have fed and of which neither encoder nor driver tells."""
    pairs = enumerate(zip(model.parameters.strands, state.feeds.strands, strict=True))
    blind = [s.input for index, (s, feed) in pairs if feed.has_fed and model.stalls.is_blind(state.stalls, index)]
    return model.melt.sights(state.melt, tuple(blind))
