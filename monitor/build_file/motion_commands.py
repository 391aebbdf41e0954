"""Commands about how words are to be taken, where axes are said to be, and standing still.

Owns units, planes, absolute and relative words, resets of position, dwells, controller retraction, homing and pauses.
RS274/NGC 3.5 has G4, G10 L2, G17 to G21, G28, G90 to G92; but that G4 P is in milliseconds, M82 and M83, G10 and G11 as
retraction, and pauses other than M0 and M1 are common practice, no source.
"""

from collections.abc import Callable, Mapping
from functools import partial
from typing import Final

from monitor.build_file.heat_commands import tool_temperatures
from monitor.build_file.machine_state import Line, MachineState, PositionSet, Still
from monitor.build_file.schedule import Pause

_INCH_MM: Final = 25.4
_MS: Final = 1e-3
_LONGEST_S: Final = 1e6
_OFFSET: Final = "G10 sets a coordinate offset: not followed"


def _unit(state: MachineState, line: Line, unit_mm: float) -> None:
    state.unit_mm.set(line.number, unit_mm)


def _plane(state: MachineState, line: Line, plane: float) -> None:
    state.plane.set(line.number, plane)


def _distances(state: MachineState, line: Line, is_relative: float) -> None:
    state.is_relative.set(line.number, is_relative)
    if state.settings.g90_sets_e:
        state.is_feed_relative.set(line.number, is_relative)


def _feed_distances(state: MachineState, line: Line, is_relative: float) -> None:
    state.is_feed_relative.set(line.number, is_relative)


def _centres(state: MachineState, line: Line, is_absolute: float) -> None:
    state.has_absolute_centres.set(line.number, is_absolute)


def _dwell(state: MachineState, line: Line) -> None:
    """Wait; S, in seconds, goes before P. Without either it still stops the motion."""
    second, part = line.get("S"), line.get("P")
    time_s = second if second is not None else 0.0
    if second is None and part is not None:
        time_s = part if state.settings.dwell_p_in_seconds else part * _MS
    if not 0.0 <= time_s <= _LONGEST_S:
        state.note("dwell of no possible length", line.number)
        time_s = 0.0
    state.dwell_s += time_s
    state.stills.append(Still(line.number, time_s))


def _stop(state: MachineState, line: Line) -> None:
    state.stills.append(Still(line.number, 0.0))


def _reset_position(state: MachineState, line: Line) -> None:
    """G92: without words it zeroes all axes; common practice, no source."""
    named = [axis for axis in "XYZE" if axis in line.words]
    for axis in named or "XYZE":
        value = (line.get(axis) or 0.0) * (state.unit_mm.value if named else 0.0)
        state.position_sets.append(PositionSet(line.number, axis, value))


def _home(state: MachineState, line: Line) -> None:
    """G28: the named axes, or all but the feed, end at 0; where homing really ends nobody knows from the file."""
    named = [axis for axis in "XYZ" if axis in line.words]
    state.position_sets += [PositionSet(line.number, axis, 0.0) for axis in named or "XYZ"]
    _stop_of(state, line, "G28", "homing")


def _stop_of(state: MachineState, line: Line, code: str, kind: str) -> None:
    state.stills.append(Still(line.number, 0.0))
    if state.may_keep(line.number):
        state.pauses.append(Pause(state.first_line + line.number, code, kind))


def _many_meanings(state: MachineState, line: Line) -> None:
    """G10: offsets with L or axes, temperatures with P and R or S, else the controller's retraction."""
    if line.has("LXYZ"):
        state.note(_OFFSET, line.number)
    elif line.has("PR"):
        tool_temperatures(state, line)
    else:
        _retract(state, line)


def _retract(state: MachineState, line: Line) -> None:
    own = state.retraction
    if not own.is_back:
        own.is_back = True
        state.stills.append(Still(line.number, 0.0, -own.back_mm, own.back_mm_s))


def _prime(state: MachineState, line: Line) -> None:
    own = state.retraction
    if own.is_back:
        own.is_back = False
        state.stills.append(Still(line.number, 0.0, own.back_mm + own.extra_mm, own.forth_mm_s))


def _not_followed(state: MachineState, line: Line, what: str) -> None:
    state.note(f"{what}: not followed", line.number)


def _stops(codes: str, kind: str) -> dict[tuple[str, float], Callable[[MachineState, Line], None]]:
    return {(code[0], float(code[1:])): partial(_stop_of, code=code, kind=kind) for code in codes.split()}


COMMANDS: Final[Mapping[tuple[str, float], Callable[[MachineState, Line], None]]] = {
    ("G", 4.0): _dwell,
    ("G", 10.0): _many_meanings,
    ("G", 11.0): _prime,
    ("G", 17.0): partial(_plane, plane=17.0),
    ("G", 18.0): partial(_plane, plane=18.0),
    ("G", 19.0): partial(_plane, plane=19.0),
    ("G", 20.0): partial(_unit, unit_mm=_INCH_MM),
    ("G", 21.0): partial(_unit, unit_mm=1.0),
    ("G", 28.0): _home,
    ("G", 90.0): partial(_distances, is_relative=0.0),
    ("G", 90.1): partial(_centres, is_absolute=1.0),
    ("G", 91.0): partial(_distances, is_relative=1.0),
    ("G", 91.1): partial(_centres, is_absolute=0.0),
    ("G", 92.0): _reset_position,
    ("G", 92.1): partial(_not_followed, what="G92.1 takes position offsets back"),
    ("G", 92.2): partial(_not_followed, what="G92.2 takes position offsets back"),
    ("G", 92.3): partial(_not_followed, what="G92.3 brings position offsets back"),
    ("G", 93.0): partial(_not_followed, what="G93, speeds as inverse times"),
    ("M", 82.0): partial(_feed_distances, is_relative=0.0),
    ("M", 83.0): partial(_feed_distances, is_relative=1.0),
    ("M", 400.0): _stop,
    **_stops("M0 M1 M25 M226 M600 M601", "pause"),
    **_stops("G29 G30 G32 G33 G34 G38.2 G38.3 G38.4 G38.5", "probing"),
    **_stops("G12 G27", "parking or wiping"),
    **_stops("M701 M702", "loading"),
    **_stops("M98", "a macro of the controller"),
    **_stops("M112", "emergency stop"),
}
