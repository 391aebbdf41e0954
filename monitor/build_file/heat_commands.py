"""Set points and waits for heat.

Owns which heater a command means, and how long a wait is taken to last: the difference over the heater's rate in the
settings. M104 and M109 are for tools, M140 and M190 for the plate, M141 and M191 for the chamber, M116 waits for all,
`G10 P R S` and M568 set a tool's active and standby values: common practice, no source.
"""

from collections.abc import Callable, Mapping
from functools import partial
from typing import Final

from monitor.build_file.machine_state import MOST_TOOLS, HeaterState, Line, MachineState, Still, ToolValues
from monitor.build_file.schedule import Heater, SetPoint

_HOTTEST_C: Final = 1000.0
_COLDEST_C: Final = -273.0  # some dialects switch a heater off by less than absolute zero


def _set(state: MachineState, line: Line, heater: Heater, *, waits: bool) -> None:
    """S waits only while heating, R also while cooling."""
    number = _number(state, line, heater)
    target_c = line.get("S")
    cools = target_c is None
    target_c = line.get("R") if cools else target_c
    if target_c is None and not waits:
        return
    _ask(state, line, heater, number, target_c, waits=waits, cools=cools)


def _number(state: MachineState, line: Line, heater: Heater) -> int:
    said = line.get("T") if heater is Heater.TOOL else line.get("H")
    if said is None:
        said = line.get("P")
    return (state.tool if heater is Heater.TOOL else 0) if said is None else int(said)


def _ask(
    state: MachineState, line: Line, heater: Heater, number: int, target_c: float | None, *, waits: bool, cools: bool
) -> None:
    if not 0 <= number <= MOST_TOOLS or (target_c is not None and target_c > _HOTTEST_C):
        state.note("set point that cannot be meant", line.number)
        return
    if heater is Heater.TOOL:
        state.tools_used.add(number)
    own = state.heaters.setdefault((heater, number), HeaterState(0.0, state.settings.room_c))
    own.target_c = own.target_c if target_c is None else max(target_c, 0.0)
    if state.may_keep(line.number):
        is_standby = heater is Heater.TOOL and number != state.tool
        row = SetPoint(state.first_line + line.number, heater, number, own.target_c, waits, is_standby)
        state.set_points.append(row)
    if waits:
        _wait(state, line, heater, own, cools=cools)
    elif own.target_c < own.reached_c:
        own.reached_c = max(own.target_c, state.settings.room_c)


def _wait(state: MachineState, line: Line, heater: Heater, own: HeaterState, *, cools: bool) -> None:
    settings = state.settings
    rate_k_s = settings.tool_heating_k_s if heater is Heater.TOOL else settings.plate_heating_k_s
    rise_k = max(own.target_c, settings.room_c) - own.reached_c
    own.reached_c += rise_k
    time_s = (abs(rise_k) if cools else max(rise_k, 0.0)) / rate_k_s
    state.heating_s += time_s
    state.stills.append(Still(line.number, time_s))


def _wait_for_all(state: MachineState, line: Line) -> None:
    """M116: all heaters settle at the same time, so the slowest counts."""
    settings = state.settings
    longest_s = 0.0
    for (heater, number), own in state.heaters.items():
        if line.get("P") is None or (heater is Heater.TOOL and number == line.get("P")):
            rate_k_s = settings.tool_heating_k_s if heater is Heater.TOOL else settings.plate_heating_k_s
            rise_k = max(own.target_c, settings.room_c) - own.reached_c
            own.reached_c += rise_k
            longest_s = max(longest_s, abs(rise_k) / rate_k_s)
            if state.may_keep(line.number):
                is_standby = heater is Heater.TOOL and number != state.tool
                row = SetPoint(
                    state.first_line + line.number, heater, number, own.target_c, waits=True, is_standby=is_standby
                )
                state.set_points.append(row)
    state.heating_s += longest_s
    state.stills.append(Still(line.number, longest_s))


def tool_temperatures(state: MachineState, line: Line) -> None:
    """Set a tool's active (S) and standby (R) value; the tool's state decides which of them holds."""
    number = _number(state, line, Heater.TOOL)
    if not 0 <= number <= MOST_TOOLS:
        state.note("set point that cannot be meant", line.number)
        return
    before = state.tool_values.get(number, ToolValues())
    active_c, standby_c = line.get("S"), line.get("R")
    state.tool_values[number] = ToolValues(
        before.active_c if active_c is None else active_c, before.standby_c if standby_c is None else standby_c
    )
    target_c = active_c if number == state.tool else standby_c
    if target_c is not None:
        _ask(state, line, Heater.TOOL, number, target_c, waits=False, cools=False)


def change_temperatures(state: MachineState, line: Line, left: int) -> None:
    """After a change of the tool, the one that was left goes to its standby value and the new one to its active."""
    rows = (
        (left, state.tool_values.get(left, ToolValues()).standby_c),
        (state.tool, state.tool_values.get(state.tool, ToolValues()).active_c),
    )
    for number, target_c in rows:
        if target_c is not None:
            _ask(state, line, Heater.TOOL, number, target_c, waits=False, cools=False)


COMMANDS: Final[Mapping[tuple[str, float], Callable[[MachineState, Line], None]]] = {
    ("M", 104.0): partial(_set, heater=Heater.TOOL, waits=False),
    ("M", 109.0): partial(_set, heater=Heater.TOOL, waits=True),
    ("M", 116.0): _wait_for_all,
    ("M", 140.0): partial(_set, heater=Heater.PLATE, waits=False),
    ("M", 190.0): partial(_set, heater=Heater.PLATE, waits=True),
    ("M", 141.0): partial(_set, heater=Heater.CHAMBER, waits=False),
    ("M", 191.0): partial(_set, heater=Heater.CHAMBER, waits=True),
    ("M", 568.0): tool_temperatures,
}
