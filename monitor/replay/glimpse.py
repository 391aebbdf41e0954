"""What a history needs of a state, at a small part of an assessment's cost: no alerts, no advice, no ranges.

Says what an assessment of the same state says (a test holds the two together). Changes nothing.
"""

from typing import NamedTuple

from monitor.core.assess_parts import liner_readings, shared_readings
from monitor.core.assess_strand import activity, limit_left_s, soft_front_mm, standing_since_s
from monitor.core.assessment import Activity, LinerReading, Quality, SharedReading, WallReading
from monitor.core.data_age import data_quality
from monitor.core.engine_state import EngineState, Model
from monitor.core.readings import wall_readings
from monitor.core.span import Span
from monitor.core.stall_findings import FlowSlip


class StrandGlimpse(NamedTuple):
    """One strand, as `monitor.history.seen.SeenStrand`: the cautious end of the time left, and slip while it feeds."""

    input: int
    activity: Activity
    quality: Quality
    idle_s: float
    feed_mm_s: float
    fed_mm: float | None
    dose_now_min: float
    limit_left_s: Span
    hottest_c: float
    softening_min: float
    soft_front_mm: float
    flow_slip: tuple[FlowSlip, ...]


class Glimpse(NamedTuple):
    """One moment, as `monitor.history.seen.Seen`."""

    time_s: float
    quality: Quality
    walls: tuple[WallReading, ...]
    strands: tuple[StrandGlimpse, ...]
    liners: tuple[LinerReading, ...]
    shared: tuple[SharedReading, ...]


def glimpse(model: Model, state: EngineState) -> Glimpse:
    """Look at a state. Before the first wall temperature, or when it cannot be trusted, no strand is looked at."""
    quality = data_quality(model, state)
    return Glimpse(
        time_s=state.time_s,
        quality=quality,
        walls=wall_readings(state.sensors, model.sensors, state.time_s, model.longest_silence_s),
        strands=_strands(model, state) if quality is Quality.GOOD else (),
        liners=liner_readings(model, state),
        shared=shared_readings(model, state),
    )


def _strands(model: Model, state: EngineState) -> tuple[StrandGlimpse, ...]:
    if state.field is None:
        return ()
    oldest_min, softest_min = model.field.oldest_min(state.field), model.field.softest_min(state.field)
    temp_c, _ = model.field.path_rows(state.field)
    hottest_c = temp_c.max(axis=1).tolist()
    found = []
    for index, strand in enumerate(model.parameters.strands):
        feed, since_s = state.feeds.strands[index], standing_since_s(state, index)
        left_s, x_mm = limit_left_s(model, state, index), model.field.centres_mm(state.field, index)
        doing, told = activity(model, state, index), state.stalls.inputs[index].state.limits
        found.append(
            StrandGlimpse(
                input=strand.input,
                activity=doing,
                quality=Quality.GOOD,
                idle_s=state.time_s - (feed.moved_s if since_s is None else since_s),
                feed_mm_s=feed.speed_mm_s,
                fed_mm=None if feed.fed_mm is None else feed.fed_mm - feed.first_mm,
                dose_now_min=oldest_min[index],
                limit_left_s=Span(left_s, left_s),
                hottest_c=hottest_c[index],
                softening_min=softest_min[index],
                soft_front_mm=soft_front_mm(x_mm, temp_c[index], strand.material.glass_c),
                flow_slip=told.observed() if doing is Activity.FEEDING else (),
            )
        )
    return tuple(found)
