"""The engine's fixed model of one machine and its moving state; both plain data.

A state is immutable: it may be kept, compared, or run ahead without disturbing the watch.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, NamedTuple

from connectors.telemetry import Execution, channel
from monitor.core.alert_points import alert_points
from monitor.core.alerts import AlertBook, AlertLaw, alert_law
from monitor.core.assessment import ZonePlace
from monitor.core.cold_end import ColdEndLaw, cold_end_law
from monitor.core.dose import DoseLaw, hopeful_law
from monitor.core.feed import Feed, Feeds
from monitor.core.field import Field
from monitor.core.field_building import build_field
from monitor.core.field_state import FieldState
from monitor.core.hot_path import stiff_from_mm, watched_liners, zone_places
from monitor.core.melt_watch import Meltings, MeltWatch, melt_watch
from monitor.core.parameters import Parameters
from monitor.core.readings import Sensor, SensorChannels, Sensors, sensor_channels
from monitor.core.sensor_trace import SensorTrace
from monitor.core.shared_channel import SharedChannel, SharedState, shared_channel
from monitor.core.stall_findings import StallPattern
from monitor.core.stall_watch import Stalls, StallWatch, stall_watch

_NO_ALERTS: Final = AlertBook()
_NO_FEEDS: Final = Feeds()
_NO_STALLS: Final = Stalls()
_NOTHING_SETTLED: Final[Mapping[int, tuple[int, StallPattern]]] = {}
_NO_COUNTS: Final[Mapping[str, int]] = {}


@dataclass(frozen=True, slots=True, eq=False)
class Model:
    """Everything that does not change during a session, prepared once from the parameters."""

    parameters: Parameters
    field: Field
    hopeful: DoseLaw
    places: tuple[ZonePlace, ...]
    stiff_from_mm: float  # upstream of here strands must be stiff
    path_mm: float  # from the start of the path to the merge point
    sensors: tuple[SensorChannels, ...]
    feeds: tuple[str, ...]
    law: AlertLaw
    stall_points: tuple[int, ...]  # of these the ones for stalls, in the order of the strands
    glass_c: tuple[float, ...]  # one per strand
    min_feed_c: tuple[float, ...]
    warn_min: tuple[float, ...]
    liner_zones: tuple[int, ...]
    liner_limits_c: tuple[tuple[float, float, float], ...]  # warn, alarm, stop of each of these
    watches_cooling: bool
    wall_sensors: tuple[int, ...]  # sensors that walls at and upstream of the merge point depend on
    merge_sensors: tuple[int, ...]  # those of the wall at the merge point itself
    cold_end: ColdEndLaw | None  # where its temperature has to be estimated
    shared: SharedChannel | None
    stalls: StallWatch
    melt: MeltWatch
    longest_silence_s: float  # data older than this are STALE


class EngineState(NamedTuple):
    """Everything that does."""

    time_s: float = 0.0
    sample_s: float | None = None  # when the last sample came
    field_s: float = 0.0  # how far the field has been carried
    field: FieldState | None = None
    sensors: Sensors = ()
    traces: tuple[SensorTrace, ...] = ()  # how each sensor behaves
    feeds: Feeds = _NO_FEEDS
    hot_since_s: tuple[float | None, ...] = ()  # per strand: since when it stands hot, by the merge wall
    cool_since_s: tuple[float | None, ...] = ()  # per strand: since when that wall is below its glass transition
    liner_above_s: tuple[tuple[float, ...], ...] = ()  # per liner zone: time above warn, alarm, stop
    shared: SharedState | None = None
    stalls: Stalls = _NO_STALLS
    melt: Meltings = ()
    execution: Execution | None = None
    has_built: bool = False  # whether a build was ever seen to run
    progress: float | None = None
    link_available: bool = False
    link_reason: str = "not connected yet"
    resumed_s: float | None = None  # when a watch that had ended was gone on with
    alerts: AlertBook = _NO_ALERTS
    next_use_s: tuple[float | None, ...] = ()  # per strand, by the plan of the build; empty without one
    short_s: tuple[float, ...] = ()  # how much too early each may pass its limit, by the plan's latest word
    settled: Mapping[int, tuple[int, StallPattern]] = (
        _NOTHING_SETTLED  # by point: activation, and the pattern told in it
    )
    told_patterns: Mapping[int, tuple[int, StallPattern]] = _NOTHING_SETTLED  # likewise: as what it was told first
    counts: Mapping[str, int] = _NO_COUNTS


def build_model(parameters: Parameters) -> Model:
    """Prepare the model of one machine and its load."""
    field, liners, estimated = build_field(parameters), watched_liners(parameters), parameters.estimated_sensor
    points = alert_points(parameters)
    limits = [parameters.liners[parameters.zones[index].liner or ""] for index in liners]
    return Model(
        parameters=parameters,
        field=field,
        hopeful=hopeful_law(parameters.strands),
        places=zone_places(parameters),
        stiff_from_mm=stiff_from_mm(parameters),
        path_mm=parameters.path_length_mm,
        sensors=sensor_channels(parameters),
        feeds=tuple(channel("fed_mm", strand.input) for strand in parameters.strands),
        law=alert_law(points),
        stall_points=tuple(index for index, point in enumerate(points) if point.rule.condition == "stall"),
        glass_c=tuple(strand.material.glass_c for strand in parameters.strands),
        min_feed_c=tuple(strand.material.min_feed_c for strand in parameters.strands),
        warn_min=tuple(strand.material.warn_min for strand in parameters.strands),
        liner_zones=liners,
        liner_limits_c=tuple((row.warn_c, row.alarm_c, row.stop_c) for row in limits),
        watches_cooling=any(point.rule.condition == "cooling" for point in points),
        wall_sensors=tuple(index for index in field.points.sensors if parameters.sensors[index] != estimated),
        merge_sensors=field.points.merge_sensors,
        cold_end=cold_end_law(parameters, field.grid),
        shared=shared_channel(parameters),
        stalls=stall_watch(parameters),
        melt=melt_watch(parameters),
        longest_silence_s=parameters.limits.stale_after_s,
    )


def initial_state(model: Model) -> EngineState:
    """State before the first event: nothing known."""
    return EngineState(
        sensors=(Sensor(),) * len(model.sensors),
        traces=(SensorTrace(),) * len(model.sensors),
        feeds=Feeds((Feed(),) * len(model.feeds), (0.0,) * len(model.feeds)),
        hot_since_s=(None,) * len(model.feeds),
        cool_since_s=(None,) * len(model.feeds),
        liner_above_s=((0.0, 0.0, 0.0),) * len(model.liner_zones),
        shared=None if model.shared is None else model.shared.initial(),
        stalls=model.stalls.initial(),
        melt=model.melt.initial(),
    )
