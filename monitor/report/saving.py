"""What would have saved the build, and by when: a sentence or two for each cause, with the times of this watch."""

from collections.abc import Callable, Mapping
from typing import Final

from monitor.report.cause_types import Cause, Explanation, Failure
from monitor.report.gathered import Gathered
from monitor.report.incidents import Incident
from monitor.report.times import Times, span_text


def saving_words(gathered: Gathered, failure: Failure, told: Explanation, times: Times) -> tuple[str, ...]:
    """What would have helped and until when, the watch's own advice then, and whether somebody answered."""
    words = _SAVES[told.cause](gathered, failure, told, times)
    return tuple(filter(None, (words, _advice(failure.incident, times), _answer(failure.incident, times))))


_Said = Callable[[Gathered, Failure, Explanation, Times], str]


def _aged(gathered: Gathered, failure: Failure, told: Explanation, times: Times) -> str:
    strand = next((strand for strand in gathered.strands if strand.input == failure.input), None)
    if strand is None or failure.incident is None or failure.condition != "dose":
        return "Advancing it now and then, or withdrawing it while it was not needed."
    limit_s = strand.dose_limit_s
    if limit_s is None:
        return f"It had not passed its limit when the recording ended ({times.at(gathered.end_s)})."
    until = span_text(limit_s - failure.incident.raised_s)
    return (
        f"Advancing or withdrawing {told.subject} before it passed its limit at {times.at(limit_s)}: from the first"
        f" warning on there were {until}."
    )


def _jam(_: Gathered, failure: Failure, told: Explanation, times: Times) -> str:
    return (
        f"Advancing {told.subject} now and then while it stood, or withdrawing it, between {times.at(told.began_s)} and"
        f" when it was taken up, shortly before {times.at(failure.time_s)}. After that only a pause at the alarm: every"
        " further push swells and grinds it more."
    )


def _cold(gathered: Gathered, failure: Failure, told: Explanation, times: Times) -> str:
    least = max((strand.min_feed_c for strand in gathered.strands if strand.input == failure.input), default=None)
    heat = "what the strand needs" if least is None else f"{least:.0f} °C"
    return (
        f"Raising the manifold to at least {heat} for this strand, or pausing, from {times.at(told.began_s)} on and"
        f" before it failed at {times.at(failure.time_s)}{_left(told.began_s, failure.time_s)}."
    )


def _run_out(_: Gathered, failure: Failure, told: Explanation, times: Times) -> str:
    return (
        f"A full spool before {times.at(told.began_s)}; nothing here measures what is left on it. Pausing at"
        f" {times.at(failure.time_s)} would have limited what the part lacks."
    )


def _tangle(_: Gathered, failure: Failure, told: Explanation, times: Times) -> str:
    return (
        f"Freeing the spool before {times.at(told.began_s)}; nothing measures its pull. Pausing at"
        f" {times.at(failure.time_s)} would have limited what the part lacks."
    )


def _grinding(_: Gathered, failure: Failure, __: Explanation, times: Times) -> str:
    return (
        f"Pausing at the alarm, {times.at(failure.time_s)}, cleaning the drive and cutting off the ground piece: a"
        " groove does not mend by itself."
    )


def _clog(_: Gathered, failure: Failure, told: Explanation, times: Times) -> str:
    return (
        f"Cleaning the channel once slip began to grow, from {times.at(told.began_s)} on; it was told at"
        f" {times.at(failure.time_s)}. Feeding slower loses less meanwhile."
    )


def _cooling(gathered: Gathered, failure: Failure, told: Explanation, times: Times) -> str:
    soft = [incident.raised_s for incident in gathered.incidents if incident.condition == "softening"]
    if not soft:
        return f"Mending the cooling from {times.at(told.began_s)} on; nothing had softened when the recording ended."
    left = span_text(max(0.0, min(soft) - failure.time_s))
    return (
        f"Mending coolant, pump, radiator or fan between {times.at(told.began_s)} and {times.at(min(soft))}, when the"
        f" first strand was soft where it must be stiff: {left} after {times.at(failure.time_s)}."
    )


def _softened(_: Gathered, failure: Failure, told: Explanation, times: Times) -> str:
    left = _left(told.began_s, failure.time_s)
    return f"A cooler cold end, or a lower manifold, from {times.at(told.began_s)} on{left}."


def _heater(_: Gathered, failure: Failure, told: Explanation, times: Times) -> str:
    left = _left(told.began_s, failure.time_s)
    return f"Pausing at {times.at(told.began_s)}, and looking at heater, wire and supply{left}."


def _hot(_: Gathered, __: Failure, told: Explanation, times: Times) -> str:
    return f"Lowering the manifold, or switching it off, at {times.at(told.began_s)}; air the room before going close."


def _sensor(_: Gathered, __: Failure, told: Explanation, times: Times) -> str:
    return f"Pausing at {times.at(told.began_s)}: a heater whose sensor lies is misled as well."


def _data(gathered: Gathered, _: Failure, told: Explanation, __: Times) -> str:
    silence = next((silence for silence in gathered.silences if silence.from_s == told.began_s), None)
    length = "" if silence is None else f" For {span_text(silence.length_s)} nobody would have seen a fault."
    return f"A link that holds: look at cable, controller and power.{length}"


def _stopped(_: Gathered, failure: Failure, __: Explanation, times: Times) -> str:
    return f"Pausing at {times.at(failure.time_s)} and a look at what fed would have limited it: spool, drive, tip."


_SAVES: Final[Mapping[Cause, _Said]] = {
    Cause.AGED: _aged,
    Cause.JAM_AFTER_IDLE: _jam,
    Cause.COLD_MANIFOLD: _cold,
    Cause.RUN_OUT: _run_out,
    Cause.TANGLE: _tangle,
    Cause.GRINDING: _grinding,
    Cause.CLOG: _clog,
    Cause.COOLING: _cooling,
    Cause.SOFTENED: _softened,
    Cause.HEATER: _heater,
    Cause.HOT_MANIFOLD: _hot,
    Cause.SENSOR: _sensor,
    Cause.DATA_GAP: _data,
    Cause.STOPPED: _stopped,
}


def _left(from_s: float, until_s: float) -> str:
    return f": {span_text(until_s - from_s)} were left" if until_s > from_s else ""


def _advice(incident: Incident | None, times: Times) -> str:
    return "" if incident is None else f"What the watch said at {times.since(incident.raised_s)}: {incident.action}"


def _answer(incident: Incident | None, times: Times) -> str:
    if incident is None:
        return ""
    if incident.acknowledged_s is None:
        return "Nobody said that they had seen it."
    after = span_text(incident.acknowledged_s - incident.raised_s)
    return f"Somebody had seen it at {times.at(incident.acknowledged_s)}, {after} after it was raised."
