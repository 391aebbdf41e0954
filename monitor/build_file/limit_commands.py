"""Limits of motion in the file: they go before those of the profile.

Owns M201 (accelerations of axes), M203 (speeds of axes), M204 (accelerations of moves), M205 and M566 (corners), M207
and M208 (controller retraction), M220 (all speeds). All of it common practice, no source.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import Final

from monitor.build_file.machine_state import Line, MachineState
from monitor.build_file.settings import NO_LIMIT
from monitor.build_file.tracks import Track

_MINUTE_S: Final = 60.0
_LEAST: Final = 1e-3
_PERCENT: Final = 0.01
_IMPOSSIBLE: Final = "limit of motion that cannot be meant"


def _limit(state: MachineState, line: Line, track: Track, value: float | None, unit: float = 1.0) -> bool:
    """Set a limit if a sensible value is given; says whether one was."""
    if value is None:
        return False
    if not _LEAST <= value * unit <= NO_LIMIT:
        state.note(_IMPOSSIBLE, line.number)
        return False
    track.set(line.number, value * unit)
    return True


def _axes(state: MachineState, line: Line, tracks: Sequence[Track], per_minute: float = 1.0) -> None:
    unit = state.unit_mm.value / per_minute
    for axis, track in zip("XYZE", tracks, strict=True):
        _limit(state, line, track, line.get(axis), unit)


def _axis_accelerations(state: MachineState, line: Line) -> None:
    _axes(state, line, state.limits.axis_mm_s2)


def _axis_speeds(state: MachineState, line: Line) -> None:
    _axes(state, line, state.limits.axis_mm_s, _MINUTE_S if state.settings.speeds_per_minute else 1.0)


def _accelerations(state: MachineState, line: Line) -> None:
    """M204: P while feeding, T for travel, R for retractions; S for the first two."""
    limits = state.limits
    both = line.get("S")
    rows = (("P", limits.print_mm_s2, both), ("T", limits.travel_mm_s2, both), ("R", limits.retract_mm_s2, None))
    for letter, track, other in rows:
        value = line.get(letter)
        is_set = _limit(state, line, track, other if value is None else value)
        state.has_file_limits |= is_set and letter == "P"


def _corners(state: MachineState, line: Line) -> None:
    """M205: J is a deviation, X and Y a sudden change of speed; whichever came last holds."""
    limits = state.limits
    if _limit(state, line, limits.deviation_mm, line.get("J")):
        limits.step_mm_s.set(line.number, NO_LIMIT)
    steps = [value for value in (line.get("X"), line.get("Y")) if value is not None]
    if steps and _limit(state, line, limits.step_mm_s, min(steps)):
        limits.deviation_mm.set(line.number, NO_LIMIT)


def _steps_per_minute(state: MachineState, line: Line) -> None:
    limits = state.limits
    steps = [value for value in (line.get("X"), line.get("Y")) if value is not None]
    if steps and _limit(state, line, limits.step_mm_s, min(steps), 1.0 / _MINUTE_S):
        limits.deviation_mm.set(line.number, NO_LIMIT)


def _retraction(state: MachineState, line: Line) -> None:
    own = state.retraction
    own.back_mm = _length(state, line, line.get("S"), own.back_mm)
    own.back_mm_s = _speed(line, own.back_mm_s)


def _priming(state: MachineState, line: Line) -> None:
    own = state.retraction
    own.extra_mm = _length(state, line, line.get("S"), own.extra_mm)
    own.forth_mm_s = _speed(line, own.forth_mm_s)


def _length(state: MachineState, line: Line, value: float | None, before_mm: float) -> float:
    """Give a length of controller retraction; none is longer than a metre."""
    most_mm = 1000.0
    if value is None or not 0.0 <= value <= most_mm:
        if value is not None:
            state.note(_IMPOSSIBLE, line.number)
        return before_mm
    return value * state.unit_mm.value


def _speed(line: Line, before_mm_s: float) -> float:
    value = line.get("F")
    return before_mm_s if value is None or value <= 0.0 else value / _MINUTE_S


def _all_speeds(state: MachineState, line: Line) -> None:
    percent = line.get("S")
    _limit(state, line, state.speed_factor, percent, _PERCENT)


COMMANDS: Final[Mapping[tuple[str, float], Callable[[MachineState, Line], None]]] = {
    ("M", 201.0): _axis_accelerations,
    ("M", 203.0): _axis_speeds,
    ("M", 204.0): _accelerations,
    ("M", 205.0): _corners,
    ("M", 207.0): _retraction,
    ("M", 208.0): _priming,
    ("M", 220.0): _all_speeds,
    ("M", 566.0): _steps_per_minute,
}
