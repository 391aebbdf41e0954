"""Causes that lie in what the watch was told: a sensor that cannot be believed, and no data at all.

Weights are judgement.
"""

from typing import Final

from monitor.clock_text import span_text
from monitor.report.cause_types import Cause, Evidence, Explanation
from monitor.report.features import LONG_BEFORE_S, Case

_SENSES: Final = frozenset({"implausible", "sensor"})


def sensor(case: Case) -> Explanation | None:
    """A sensor was silent, stuck or jumping."""
    alarms = case.incidents("implausible", "sensor")
    near = [told for told in alarms if told.raised_s >= case.time_s - LONG_BEFORE_S]
    if not near:
        return None
    is_it = case.failure.condition in _SENSES
    evidence = tuple(Evidence(told.worst_text, 0.85 if is_it else 0.35) for told in near[:3])
    missing = ("a second sensor beside it: what the metal was really at is not known",)
    return Explanation(Cause.SENSOR, near[0].subject, near[0].raised_s, None, evidence, missing)


def data_gap(case: Case) -> Explanation | None:
    """No data came: what happened meanwhile is not known."""
    silence = case.silence
    if silence is None or silence.length_s <= case.gathered.stale_after_s:
        return None
    is_it = case.failure.condition == "link"
    text = f"no sample came for {span_text(silence.length_s)}"
    evidence = [Evidence(text, 0.85 if is_it else 0.4)]
    if is_it:
        known = (
            "the link itself told that it was down" if silence.is_told else "the link told nothing: it only fell silent"
        )
        evidence.append(Evidence(known, 0.3))
        evidence += _came_back(case, silence.until_s)
    missing = ["what the machine did meanwhile"]
    if not silence.is_told:
        missing.append("whether the line, the controller or its power was gone")
    return Explanation(Cause.DATA_GAP, "link", silence.from_s, None, tuple(evidence), tuple(missing))


def _came_back(case: Case, until_s: float) -> list[Evidence]:
    if until_s >= case.gathered.end_s:
        return [Evidence("data did not come back before the recording ended", 0.3)]
    return [Evidence("data came back by themselves, and nothing else was wrong then", 0.2)] if not _others(case) else []


def _others(case: Case) -> bool:
    return any(told.condition != "link" for told in case.gathered.incidents)
