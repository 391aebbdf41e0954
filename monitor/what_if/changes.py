"""What a recording would have said had something been set or done otherwise: its events, changed by simple rules.

Pure. The rules are told in `CANNOT_KNOW`: what a machine would have done is never guessed at beyond them.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from connectors.telemetry import Sample, channel
from monitor.core.engine_input import EngineInput
from monitor.planning.settings import PlanSettings
from monitor.what_if.walls import OtherWall

_FED: Final = ("fed_mm", "sensed_mm")


@dataclass(frozen=True, slots=True)
class Manifold:
    """Another set point of the walls at the merge point.

    Parameters
    ----------
    set_c : float
        The set point [°C].
    from_s : float
        Since when [s]; 0: all along.
    """

    set_c: float
    from_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Advance:
    """Strand fed into waste at a time, beside what was fed [mm, s]."""

    input: int
    length_mm: float
    from_s: float


def with_manifold(
    events: Iterable[EngineInput],
    change: Manifold,
    sensors: Sequence[str],
    settings: PlanSettings,
    ambient_c: float,
) -> Iterator[EngineInput]:
    """Events with the walls of these sensors as they would have been with another set point.

    See `monitor.what_if.walls` for the rule. The heater's duty is left out, for it belongs to the temperature that was.
    """
    walls = {sensor: OtherWall(change.set_c, change.from_s, settings) for sensor in sensors}
    for event in events:
        yield _shifted(event, change, walls, ambient_c) if isinstance(event, Sample) else event


def with_advance(events: Iterable[EngineInput], advance: Advance) -> Iterator[EngineInput]:
    """Events in which an input was fed so much more from a time on, and its encoder saw it."""
    names = [channel(kind, advance.input) for kind in _FED]
    for event in events:
        if not isinstance(event, Sample) or event.time_s < advance.from_s:
            yield event
            continue
        more = {name: event.values[name] + advance.length_mm for name in names if name in event.values}
        yield replace(event, values={**event.values, **more})


def _shifted(sample: Sample, change: Manifold, walls: Mapping[str, OtherWall], ambient_c: float) -> Sample:
    values = dict(sample.values)
    for sensor, wall in walls.items():
        temp, set_point = channel("temp_c", sensor), channel("set_c", sensor)
        shift_k = wall.shift_k(sample.time_s, values.get(temp), values.get(set_point))
        if sample.time_s < change.from_s:
            continue
        if temp in values:
            values[temp] = max(min(ambient_c, values[temp]), values[temp] + shift_k)
        if values.get(set_point):
            values[set_point] = change.set_c
        values.pop(channel("duty", sensor), None)
    return replace(sample, values=values)


CANNOT_KNOW: Final = (
    "feed is as it was: a strand that jammed then stops in both, one that would have jammed feeds on",
    "so stalls are those of the recorded feed and encoders: one that the change would have spared is still there",
    "cooling is as it was: cold end and surroundings keep their recorded temperatures",
    "what you would have done about another alert; what you did then is passed on to both",
)
"""What must be said of every what-if."""


def manifold_rule(settings: PlanSettings) -> str:
    """How the walls were changed, in words."""
    return (
        "the walls at the merge point follow the other set point at"
        f" {settings.heats_k_s:g} K/s up and {settings.cools_k_s:g} K/s down, and swing as they did"
    )


ADVANCE_RULE: Final = "a strand advanced moved by all of that at once, into waste, whatever state it was in"

NO_DUTY: Final = "heater duty at another temperature is not known and left out: what only it can show is not seen"
