"""The engine's fixed model of one machine and its moving state; both plain data.

A state is immutable: it may be kept, compared, or run ahead without disturbing the watch.
"""

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from connectors.telemetry import Execution, channel
from monitor.core.alert_points import alert_points, liner_zones
from monitor.core.alerts import AlertBook, AlertLaw, alert_law
from monitor.core.assessment import Array, ZonePlace
from monitor.core.dose import DoseLaw, hopeful_law
from monitor.core.feed import Feed, Feeds
from monitor.core.field import Field, FieldState, build_field
from monitor.core.hot_path import MERGE_MM, wall_map, zone_places
from monitor.core.parameters import Parameters
from monitor.core.readings import Sensor, SensorChannels, Sensors, sensor_channels

_NO_ALERTS: Final = AlertBook()
_NO_FEEDS: Final = Feeds()


@dataclass(frozen=True, slots=True, eq=False)
class Model:
    """Everything that does not change during a session, prepared once from the parameters."""

    parameters: Parameters
    field: Field
    hopeful: DoseLaw
    places: tuple[ZonePlace, ...]
    sensors: tuple[SensorChannels, ...]
    feeds: tuple[str, ...]
    law: AlertLaw
    glass_c: tuple[float, ...]  # one per strand
    min_feed_c: tuple[float, ...]
    hot_nodes: Array  # wall map's rows at or upstream of the merge point: their maximum is what a strand may stand at
    liner_zones: tuple[int, ...]
    liner_nodes: tuple[Array, ...]  # per liner zone, wall map's rows within it
    longest_silence_s: float  # data older than this are STALE


@dataclass(frozen=True, slots=True, eq=False)
class EngineState:
    """Everything that does."""

    time_s: float = 0.0
    sample_s: float | None = None  # when the last sample came
    field_s: float = 0.0  # how far the field has been carried
    field: FieldState | None = None
    sensors: Sensors = ()
    feeds: Feeds = _NO_FEEDS
    hot_since_s: tuple[float | None, ...] = ()  # per strand: since when the merge wall is above its glass transition
    execution: Execution | None = None
    progress: float | None = None
    link_available: bool = False
    link_reason: str = "not connected yet"
    alerts: AlertBook = _NO_ALERTS
    counts: Mapping[str, int] = dataclasses.field(default_factory=dict)


def build_model(parameters: Parameters) -> Model:
    """Prepare the model of one machine and its load."""
    walls, places, liners = wall_map(parameters), zone_places(parameters), liner_zones(parameters)
    upstream = walls.nodes_mm[walls.nodes_mm > 0]
    return Model(
        parameters=parameters,
        field=build_field(parameters),
        hopeful=hopeful_law(parameters.strands),
        places=places,
        sensors=sensor_channels(parameters),
        feeds=tuple(channel("fed_mm", strand.input) for strand in parameters.strands),
        law=alert_law(alert_points(parameters)),
        glass_c=tuple(strand.material.glass_c for strand in parameters.strands),
        min_feed_c=tuple(strand.material.min_feed_c for strand in parameters.strands),
        hot_nodes=walls.at(np.concatenate([[MERGE_MM], upstream])),
        liner_zones=liners,
        liner_nodes=tuple(walls.at(_points_within(walls.nodes_mm, places[index])) for index in liners),
        longest_silence_s=parameters.limits.stale_after_s,
    )


def initial_state(model: Model) -> EngineState:
    """State before the first event: nothing known."""
    return EngineState(
        sensors=(Sensor(),) * len(model.sensors),
        feeds=Feeds((Feed(),) * len(model.feeds)),
        hot_since_s=(None,) * len(model.feeds),
    )


def _points_within(nodes_mm: Array, place: ZonePlace) -> Array:
    """Ends of a zone and the wall map's nodes inside it: between them the wall is linear."""
    inside = nodes_mm[(nodes_mm > place.hot_end_mm) & (nodes_mm < place.cold_end_mm)]
    return np.concatenate([[place.hot_end_mm], inside, [place.cold_end_mm]])
