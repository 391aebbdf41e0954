"""What a history needs of a state, at a fifth of an assessment's cost: no alerts, no advice. Changes nothing."""

from dataclasses import dataclass

from monitor.core.assess_parts import liner_readings, shared_readings
from monitor.core.assess_strand import assess_strand
from monitor.core.assessment import LinerReading, Quality, SharedReading, StrandAssessment, WallReading
from monitor.core.data_age import data_quality
from monitor.core.engine_state import EngineState, Model
from monitor.core.readings import wall_readings


@dataclass(frozen=True, slots=True, eq=False)
class Glimpse:
    """One moment, as `monitor.history.seen.Seen`: what an `Assessment` of it says as well."""

    time_s: float
    quality: Quality
    walls: tuple[WallReading, ...]
    strands: tuple[StrandAssessment, ...]
    liners: tuple[LinerReading, ...]
    shared: tuple[SharedReading, ...]


def glimpse(model: Model, state: EngineState) -> Glimpse:
    """Look at a state."""
    quality = data_quality(model, state)
    return Glimpse(
        time_s=state.time_s,
        quality=quality,
        walls=wall_readings(state.sensors, model.sensors, state.time_s, model.longest_silence_s),
        strands=tuple(assess_strand(model, state, index, quality) for index in range(len(model.feeds))),
        liners=liner_readings(model, state),
        shared=shared_readings(model, state),
    )
