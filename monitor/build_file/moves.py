"""Moves of a block: how far each goes, along which path, what it feeds, how fast at most.

Owns the positions of the axes and of the feed, from block to block. Knows nothing of time.
"""

from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from monitor.build_file.arcs import arcs
from monitor.build_file.axis_words import AxisMoves, axis_moves
from monitor.build_file.machine_state import MachineState
from monitor.build_file.move_limits import LastMove, MoveLimits, Shape, move_limits
from monitor.build_file.move_lines import FIRST_ARC, LineFinder, MoveLines, scaled
from monitor.build_file.move_table import Moves, with_stops
from monitor.build_file.words import Floats, Ints, Words

_TINY: Final = 1e-12

Flags = npt.NDArray[np.bool_]


class MoveMaker:
    """Makes moves of words, block after block."""

    def __init__(self, state: MachineState) -> None:
        self._state = state
        self._lines = LineFinder(state)
        self._at_mm = dict.fromkeys("XYZ", 0.0)
        self._fed_mm: dict[int, float] = {}
        self._last = LastMove()

    def make(self, words: Words, lines: int, own: Ints) -> Moves:
        """Moves of one block; words on the lines `own` belong to other commands."""
        rows = self._lines.find(words, lines, own)
        steps = {axis: self._follow(axis, rows) for axis in "XYZ"}
        fed_mm = self._feed(rows)
        shape, kept = self._shape(words, rows, steps, fed_mm)
        line, speed = rows.line[kept], rows.speed_mm_s[kept]
        arc_speed = np.minimum(speed, shape.most_mm_s[kept]) if shape.most_mm_s is not None else speed
        start = shape.start[:, kept]
        end = start if shape.end is shape.start else shape.end[:, kept]
        whole = Shape(start, end, shape.length_mm[kept], fed_mm[kept], shape.is_still[kept])
        limits = move_limits(whole, arc_speed, line, self._state.limits, self._last)
        mix = np.broadcast_to(self._state.mix.over(line), line.shape)
        z_mm = np.where(whole.is_still, np.nan, steps["Z"].position_mm[kept])
        return self._with_stills(line, whole, limits, mix, z_mm)

    def _follow(self, axis: str, rows: MoveLines) -> AxisMoves:
        sets = self._sets(axis, rows.line)
        relative = self._state.is_relative.over(rows.line)
        found = axis_moves(rows.words_mm[axis], relative, sets, self._at_mm[axis])
        self._at_mm[axis] = found.end_mm
        return found

    def _sets(self, axis: str, line: Ints, tool: float | None = None) -> list[tuple[int, float]]:
        found = [
            row
            for row in self._state.position_sets
            if row.axis == axis and (tool is None or self._state.tool_track.on(row.line) == tool)
        ]
        places = np.searchsorted(line, [row.line for row in found], side="left").tolist() if found else []
        return [(place, row.value_mm) for place, row in zip(places, found, strict=True)]

    def _feed(self, rows: MoveLines) -> Floats:
        """Feed of every move [mm of filament], of all inputs together."""
        state, words_mm = self._state, rows.words_mm["E"]
        relative = state.is_feed_relative.over(rows.line)
        if not state.settings.e_per_tool:
            found = axis_moves(words_mm, relative, self._sets("E", rows.line), self._fed_mm.get(0, 0.0))
            self._fed_mm[0] = found.end_mm
            steps = found.steps_mm
        else:
            steps = self._feed_by_tool(rows, np.broadcast_to(relative, words_mm.shape))
        return scaled(scaled(steps, state.flow_factor.over(rows.line)), 1.0 / state.volume_mm2.over(rows.line))

    def _feed_by_tool(self, rows: MoveLines, relative: Floats) -> Floats:
        tool_of = np.broadcast_to(self._state.tool_track.over(rows.line), rows.line.shape)
        set_tools = {self._state.tool_track.on(row.line) for row in self._state.position_sets}
        steps = np.zeros(len(rows.line))
        for tool in sorted({*np.unique(tool_of).tolist(), *set_tools}):
            own = np.flatnonzero(tool_of == tool)
            sets = self._sets("E", rows.line[own], tool)
            found = axis_moves(rows.words_mm["E"][own], relative[own], sets, self._fed_mm.get(int(tool), 0.0))
            self._fed_mm[int(tool)] = found.end_mm
            steps[own] = found.steps_mm
        return steps

    def _shape(
        self, words: Words, rows: MoveLines, steps: dict[str, AxisMoves], fed_mm: Floats
    ) -> tuple["_Paths", Ints | slice]:
        x, y, z = (steps[axis].steps_mm for axis in "XYZ")
        length = np.sqrt(x * x + y * y + z * z)
        is_arc = np.flatnonzero(rows.code >= FIRST_ARC)
        unit = np.stack([x, y, z])
        unit /= np.maximum(length, _TINY)
        paths = _Paths(unit, unit, length, length <= _TINY, None)
        if is_arc.size:
            paths = self._with_arcs(words, rows, steps, is_arc, paths)
        paths = paths._replace(length_mm=np.where(paths.is_still, np.abs(fed_mm), paths.length_mm))
        moves = ~paths.is_still | (fed_mm != 0.0)
        return paths, slice(None) if moves.all() else np.flatnonzero(moves)

    def _with_arcs(
        self, words: Words, rows: MoveLines, steps: dict[str, AxisMoves], is_arc: Ints, paths: "_Paths"
    ) -> "_Paths":
        state, line = self._state, rows.line[is_arc]
        move = np.stack([steps[axis].steps_mm[is_arc] for axis in "XYZ"], axis=1)
        unit_mm = np.broadcast_to(state.unit_mm.over(line), line.shape)
        centre = np.stack([_at_lines(words, letter, line) * unit_mm for letter in "IJK"], axis=1)
        start = np.stack([steps[axis].position_mm[is_arc] for axis in "XYZ"], axis=1) - move
        is_absolute = np.broadcast_to(state.has_absolute_centres.over(line), line.shape) > 0.0
        centre = np.where(is_absolute[:, None], centre - start, centre)
        radius = _at_lines(words, "R", line) * unit_mm
        plane = np.broadcast_to(state.plane.over(line), line.shape).astype(np.int64)
        found = arcs(move, np.nan_to_num(centre), radius, rows.code[is_arc] == FIRST_ARC, plane)
        if found.is_off.any():
            first = int(line[np.argmax(found.is_off)])
            state.notes.add("arc that misses its end", state.first_line + first, int(found.is_off.sum()))
        start_unit, end_unit, length = paths.start.copy(), paths.start.copy(), paths.length_mm.copy()
        start_unit[:, is_arc], end_unit[:, is_arc], length[is_arc] = found.start.T, found.end.T, found.length_mm
        most = np.full(len(length), np.inf)
        acceleration = np.broadcast_to(state.limits.print_mm_s2.over(line), line.shape)
        most[is_arc] = np.sqrt(acceleration * found.radius_mm)  # v²/r of a circle
        return _Paths(start_unit, end_unit, length, length <= _TINY, most)

    def _with_stills(self, line: Ints, shape: Shape, limits: MoveLimits, mix: Floats, z_mm: Floats) -> Moves:
        state = self._state
        zeros = np.zeros(len(line))
        moves = Moves(line, shape.length_mm, *limits, zeros, shape.feed_mm, mix, z_mm)
        if len(line):
            ends = tuple(shape.end[:, -1].tolist())
            still = bool(shape.is_still[-1])
            self._last = LastMove(ends, float(limits.speed_mm_s[-1]), float(limits.acceleration_mm_s2[-1]), still)
        if state.stills:
            moves = with_stops(moves, state.stills, state)
            if state.stills[-1].line >= (line[-1] if len(line) else 0):
                self._last = self._last._replace(is_still=True)
        return moves._replace(line=moves.line + (state.first_line - 1))


class _Paths(NamedTuple):
    start: Floats
    end: Floats
    length_mm: Floats
    is_still: Flags
    most_mm_s: Floats | None


def _at_lines(words: Words, letter: str, line: Ints) -> Floats:
    """A word's number on some lines, NaN without."""
    found = np.full(len(line), np.nan)
    hit = words.letter == ord(letter)
    if len(line) and hit.any():
        places = np.searchsorted(line, words.line[hit])
        places[places == len(line)] = 0
        fits = line[places] == words.line[hit]
        found[places[fits]] = words.value[hit][fits]
    return found
