"""Which inputs feed: tools, mixes, flow factors, feed by volume.

Owns T, M6, M163 to M165 and M567 (mixes), M200 (feed words in mm³), M221 (flow). T selects and M6 changes in RS274/NGC
3.7; that T alone changes at once, and all the others, are common practice, no source.
"""

from collections.abc import Callable, Mapping, Sequence
from math import isnan, pi
from typing import Final

from monitor.build_file.heat_commands import change_temperatures
from monitor.build_file.machine_state import MOST_TOOLS, Line, MachineState, Still
from monitor.build_file.settings import Mix

BESIDE_TOOL: Final = frozenset({("M", 6.0), *(("G", float(code)) for code in (0, 1, 2, 3, 17, 18, 19, 20, 21, 90, 91))})
"""Codes beside which a T word selects a tool; beside others it is their parameter."""

_PERCENT: Final = 0.01
_COMPONENTS: Final = "ABCDHI"
_MOST_MIXES: Final = 100_000


def tool_word(state: MachineState, line: Line, tool: float) -> None:
    """Select a tool, and change to it where nothing more is needed."""
    if isnan(tool):
        return  # counted with all words that lack a number
    if tool != int(tool) or abs(tool) > MOST_TOOLS:
        state.unknown.add("T without a tool's number", state.first_line + line.number)
        return
    state.known_commands += 1
    state.selected = int(tool)
    if not state.settings.changes_on_m6:
        _change(state, line)


def _change(state: MachineState, line: Line) -> None:
    if state.selected == state.tool:
        return
    left, state.tool = state.tool, state.selected
    state.tool_changes += 1
    state.change_s += state.settings.toolchange_s
    state.stills.append(Still(line.number, state.settings.toolchange_s))
    state.tool_track.set(line.number, float(state.tool))
    state.feed_with(state.tool, line.number)
    change_temperatures(state, line, left)
    if not state.mix_of(state.tool) and state.tool >= 0:
        state.note(f"tool {state.tool} feeds no known input", line.number)


def _change_to_selected(state: MachineState, line: Line) -> None:
    """M6: its own T may stand after it on the line."""
    tool = line.get("T")
    if tool is not None and tool == int(tool) and abs(tool) <= MOST_TOOLS:
        state.selected = int(tool)
    _change(state, line)


def _weight(state: MachineState, line: Line) -> None:
    """M163 S P: the weight of a component, counted from 0, of the mix that is being made."""
    component, weight = line.get("S"), line.get("P")
    if component is None or weight is None or weight < 0.0 or not 0 <= component < state.settings.inputs:
        state.note("mix that cannot be meant", line.number)
        return
    state.weights[int(component) + 1] = weight
    if state.settings.mixes_at_once:
        _mix_now(state, line, mix_of_weights(state.weights))


def _keep_mix(state: MachineState, line: Line) -> None:
    """M164 S: the weights, over their sum, become the mix of a tool."""
    tool = line.get("S")
    mix = mix_of_weights(state.weights)
    if tool is None:
        _mix_now(state, line, mix)
    else:
        _mix_for_tool(state, line, int(tool), mix)


def _mix_by_letters(state: MachineState, line: Line) -> None:
    weights = {place: line.get(letter) or 0.0 for place, letter in enumerate(_COMPONENTS, 1)}
    _mix_now(state, line, mix_of_weights(weights))


def shares_of_tool(state: MachineState, line: Line, shares: Sequence[float]) -> None:
    """M567 P E a:b: factors on the feed of a tool's inputs, as they are."""
    tool = line.get("P")
    one = line.get("E")
    mix = tuple(
        (place, share) for place, share in enumerate(shares or (() if one is None else (one,)), 1) if share > 0.0
    )
    if mix:
        _mix_for_tool(state, line, state.tool if tool is None else int(tool), mix)


def mix_of_weights(weights: Mapping[int, float]) -> Mix:
    """Shares in proportion to weights; nothing when all are 0."""
    total = sum(weights.values())
    return tuple((number, weight / total) for number, weight in sorted(weights.items()) if weight > 0.0)


def _mix_for_tool(state: MachineState, line: Line, tool: int, mix: Mix) -> None:
    if mix and abs(tool) <= MOST_TOOLS:
        state.mix_of_tool[tool] = mix
        if tool == state.tool:
            _mix_now(state, line, mix)


def _mix_now(state: MachineState, line: Line, mix: Mix) -> None:
    if not mix:
        state.note("mix that cannot be meant", line.number)
    elif len(state.mixes) >= _MOST_MIXES and mix not in state.mix_numbers:
        state.note("mixes too many to be followed", line.number)
    else:
        state.use_mix(mix, line.number)


def _volume(state: MachineState, line: Line) -> None:
    """M200 D: feed words are volumes of a filament of this diameter; D0 or S0: lengths again."""
    diameter_mm, is_on = line.get("D"), line.get("S")
    if is_on == 0.0 or diameter_mm == 0.0:
        state.volume_mm2.set(line.number, 1.0)
    elif diameter_mm is not None and 0.1 <= diameter_mm <= 10.0:  # noqa: PLR2004 -- mm; any filament
        state.volume_mm2.set(line.number, pi * diameter_mm**2 / 4)
    else:
        state.note("M200 without a diameter", line.number)


def _flow(state: MachineState, line: Line) -> None:
    """M221 S: percent of the feed, of one tool (T or D) or of all."""
    percent = line.get("S")
    tool = line.get("T") if line.get("T") is not None else line.get("D")
    key = state.tool if tool is None else int(tool)
    if percent is None or not 0.0 <= percent <= 1000.0 or abs(key) > MOST_TOOLS:  # noqa: PLR2004 -- per cent
        state.note("flow factor that cannot be meant", line.number)
        return
    state.flows[key] = percent * _PERCENT
    if key == state.tool:
        state.flow_factor.set(line.number, percent * _PERCENT)


COMMANDS: Final[Mapping[tuple[str, float], Callable[[MachineState, Line], None]]] = {
    ("M", 6.0): _change_to_selected,
    ("M", 163.0): _weight,
    ("M", 164.0): _keep_mix,
    ("M", 165.0): _mix_by_letters,
    ("M", 200.0): _volume,
    ("M", 221.0): _flow,
}
