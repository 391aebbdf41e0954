"""The state of a watch as OpenMetrics text (version 1.0): base units, which stand in the names. Pure."""

from collections.abc import Iterable, Iterator, Mapping
from math import inf, isinf, isnan
from typing import Final, NamedTuple

from connectors.telemetry import Execution
from monitor.core.alert_types import Priority
from monitor.core.assessment import Assessment, StrandAssessment

_MINUTE_S: Final = 60.0
_MM_M: Final = 0.001

Labels = Mapping[str, str]


class _Family(NamedTuple):
    """A metric family: name without prefix, unit (part of the name), type, help, and its values by labels."""

    name: str
    unit: str
    kind: str
    text: str
    values: Iterable[tuple[Labels, float | None]]
    suffix: str = ""


def metrics_text(assessment: Assessment, source: str, when_s: float) -> str:
    """The whole exposition.

    Parameters
    ----------
    assessment : Assessment
        The state.
    source : str
        Where it comes from, in words.
    when_s : float
        Time of day of the state, since 1970 [s]; every value is stamped with it.
    """
    families = (*_machine(assessment, source), *_walls(assessment), *_strands(assessment.strands))
    lines = [line for family in families for line in _lines(family, when_s)]
    return "\n".join([*lines, "# EOF", ""])


def _machine(it: Assessment, source: str) -> Iterator[_Family]:
    named = {"machine": it.machine, "source": source}
    yield _Family("recording", "", "info", "What was watched.", [(named, 1.0)], "_info")
    yield _Family("link_available", "", "gauge", "1 while data could be expected.", [({}, float(it.link_available))])
    age_s = None if isinf(it.sample_age_s) else it.sample_age_s
    yield _Family("sample_age_seconds", "seconds", "gauge", "Age of the newest sample.", [({}, age_s)])
    yield _Family("progress_ratio", "ratio", "gauge", "Share of the build that has been run.", [({}, it.progress)])
    states = [({"strandwatch_execution": state.value}, float(state is it.execution)) for state in Execution]
    yield _Family("execution", "", "stateset", "State of the machine's program.", states)
    alerts = [
        ({"priority": priority.name}, float(sum(alert.priority is priority for alert in it.alerts)))
        for priority in Priority
    ]
    yield _Family("alerts", "", "gauge", "Alerts that stand, those folded under another left out.", alerts)
    counted = [({"kind": kind}, float(count)) for kind, count in sorted(it.counts.items())]
    yield _Family("events", "", "counter", "Events since the watch began.", counted, "_total")


def _walls(it: Assessment) -> Iterator[_Family]:
    now = [({"sensor": wall.sensor}, wall.temp_c) for wall in it.walls]
    goal = [({"sensor": wall.sensor}, wall.set_c) for wall in it.walls]
    duty = [({"sensor": wall.sensor}, wall.duty) for wall in it.walls]
    yield _Family("wall_temperature_celsius", "celsius", "gauge", "Wall temperature at a sensor.", now)
    yield _Family("set_point_celsius", "celsius", "gauge", "Set point of the heater at a sensor; 0 is off.", goal)
    yield _Family("heater_duty_ratio", "ratio", "gauge", "Duty of the heater at a sensor.", duty)


def _strands(strands: Iterable[StrandAssessment]) -> Iterator[_Family]:
    rows = [({"input": str(strand.input), "material": strand.material}, strand) for strand in strands]
    for name, unit, text, value in (
        (
            "dose",
            "seconds",
            "Dose of the oldest material, at the material's reference temperature.",
            lambda it: it.dose_now_min * _MINUTE_S,
        ),
        ("dose_warning", "seconds", "Dose at which to warn.", lambda it: it.dose_warn_min * _MINUTE_S),
        ("dose_limit", "seconds", "Dose not to be passed.", lambda it: it.dose_limit_min * _MINUTE_S),
        ("dose", "ratio", "Dose as a share of its limit.", lambda it: it.dose_share),
        ("limit_left", "seconds", "Time to the limit if nothing changes, at least.", lambda it: it.limit_left_s.low),
        ("idle", "seconds", "Time since new material last moved.", lambda it: it.idle_s),
        ("fed", "meters", "Commanded feed since the watch began.", _fed_m),
        ("hottest", "celsius", "Hottest place of the strand.", lambda it: it.hottest_c),
        ("soft_front", "meters", "How far upstream it is soft.", lambda it: it.soft_front_mm * _MM_M),
    ):
        values = [(labels, value(strand)) for labels, strand in rows]
        yield _Family(f"strand_{name}_{unit}", unit, "gauge", text, values)


def _fed_m(strand: StrandAssessment) -> float | None:
    return None if strand.fed_mm is None else strand.fed_mm * _MM_M


def _lines(family: _Family, when_s: float) -> Iterator[str]:
    """One family: its head and its values; nothing at all where no value is known."""
    known = [(labels, value) for labels, value in family.values if value is not None and not isnan(value)]
    if not known:
        return
    name = f"strandwatch_{family.name}"
    yield f"# TYPE {name} {family.kind}"
    if family.unit:
        yield f"# UNIT {name} {family.unit}"
    yield f"# HELP {name} {family.text}"
    for labels, value in known:
        yield f"{name}{family.suffix}{_labels_text(labels)} {_number(value)} {when_s:.3f}"


def _labels_text(labels: Labels) -> str:
    pairs = ",".join(f'{name}="{_escaped(value)}"' for name, value in labels.items())
    return f"{{{pairs}}}" if pairs else ""


def _escaped(text: str) -> str:
    return text.replace("\\", "\\\\").replace("\n", "\\n").replace('"', '\\"')


def _number(value: float) -> str:
    if isinf(value):
        return "+Inf" if value == inf else "-Inf"
    return repr(float(value))
