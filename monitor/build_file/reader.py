"""Reading a build file from its first byte to its schedule, block by block.

Owns the order of the steps and the putting together of the result. Memory is bounded by the block, by the moves that
wait for their look-ahead, and by the schedule itself.
"""

from collections.abc import Callable, Iterable
from typing import BinaryIO, Final

import numpy as np

from monitor.build_file.clock import Clock
from monitor.build_file.commands import obey
from monitor.build_file.comments import Place, without_comments
from monitor.build_file.failure import BuildFileError
from monitor.build_file.feed_ledger import FeedLedger
from monitor.build_file.layers import MOST_LAYERS, LayerList
from monitor.build_file.line_blocks import Block, line_blocks
from monitor.build_file.look_ahead import SpeedPlanner, Timed
from monitor.build_file.machine_state import MachineState
from monitor.build_file.move_table import Moves
from monitor.build_file.moves import MoveMaker
from monitor.build_file.odd_lines import block_words
from monitor.build_file.schedule import BuildSchedule, Times
from monitor.build_file.settings import MotionSettings
from monitor.build_file.time_range import duration
from monitor.build_file.words import Floats, Ints

BLOCK_BYTES: Final = 1 << 20
_LARGEST_PIECE: Final = (32 << 20) - (64 << 10)
_NO_MOVES: Final = Moves(np.empty(0, np.int64), *(np.empty(0) for _ in range(8)))


def read_build_file(
    source: BinaryIO | Iterable[bytes],
    settings: MotionSettings | None = None,
    progress: Callable[[int], None] | None = None,
    block_bytes: int = BLOCK_BYTES,
) -> BuildSchedule:
    """Read a build file.

    Parameters
    ----------
    source : binary file or iterable of bytes
        The file, open for reading, or its content in pieces of any size.
    settings : MotionSettings or None
        What is known of the machine.
    progress : callable or None
        Told after each block how many bytes are done.
    block_bytes : int
        How much is read at a time; the schedule does not depend on it.

    Raises
    ------
    BuildFileError
        When it is no build file or a damaged one. Whatever else is odd stands in the schedule's `unknown` and `notes`.
    """
    _keep_memory()
    reading = _Reading(MotionSettings() if settings is None else settings)
    for block in line_blocks(source, block_bytes):
        reading.take(block)
        if progress is not None:
            progress(reading.bytes)
    return reading.finish()


def _keep_memory() -> None:
    """Make the allocator keep what a block gives back, rather than return it to the system and fetch it for the next.

    Some allocators learn from the largest piece that was ever freed what is worth keeping; this one is never touched,
    so it costs no memory. Without it, a fifth of the time goes into fetching.
    """
    largest = np.empty(_LARGEST_PIECE, np.uint8)
    del largest


class _Reading:
    """A file half read."""

    def __init__(self, settings: MotionSettings) -> None:
        self.bytes = 0
        self._lines = self._moves = 0
        self._unassigned_mm = 0.0
        self._state = MachineState.at_start(settings)
        self._maker = MoveMaker(self._state)
        self._planner = SpeedPlanner()
        self._clock = Clock()
        self._layers = LayerList()
        self._ledgers: dict[int, FeedLedger] = {}

    def take(self, block: Block) -> None:
        """Read one block."""
        state, first_line = self._state, block.first_line + 1
        state.begin(first_line)
        self._clock.mark(block.first_line, block.start_byte, block.line_ends)
        if block.is_too_long:
            state.note("line too long to be read: left out", 0)
        if block.is_unended:
            state.note(
                "the file ends without an end of line: whether its last number is whole cannot be seen",
                len(block.line_ends) - 1,
            )
        text = without_comments(block.text, Place(state.notes, first_line))
        words = block_words(text, block.line_ends, Place(state.notes, first_line), Place(state.unknown, first_line))
        own = obey(state, words)
        self._clock.expect(sorted([*state.set_points, *state.pauses], key=lambda event: event.line))
        moves = self._maker.make(words, len(block.line_ends), own)
        self._run(self._planner.add(moves))
        self._lines += len(block.line_ends)
        self.bytes = block.start_byte + len(block.text)

    def _run(self, timed: Timed | None) -> None:
        if timed is None:
            return
        edges = self._clock.run(timed)
        self._moves += int(np.count_nonzero(timed.moves.length_mm))
        self._layers.add(timed, edges)
        fed = np.flatnonzero(timed.moves.feed_mm)
        if not fed.size:
            return
        self._feed(timed.moves.mix[fed].astype(np.int64), edges[fed], edges[fed + 1], timed.moves.feed_mm[fed])

    def _feed(self, mix: Ints, start_s: Floats, end_s: Floats, feed_mm: Floats) -> None:
        """Share feed out, to each input in order of time, whichever mixes it came by."""
        used = {number: self._state.mixes[number] for number in np.flatnonzero(np.bincount(mix)).tolist()}
        for number in sorted({number for shares in used.values() for number, _ in shares}):
            share = np.zeros(max(used) + 1)
            for place, shares in used.items():
                share[place] = dict(shares).get(number, 0.0)
            ledger = self._ledgers.setdefault(number, FeedLedger(number))
            if len(used) == 1:
                ledger.add(start_s, end_s, feed_mm * share[-1])
                continue
            factor = share[mix]
            own = np.flatnonzero(factor)
            ledger.add(start_s[own], end_s[own], feed_mm[own] * factor[own])
        for place in (place for place, shares in used.items() if not shares):
            self._unassigned_mm += float(feed_mm[mix == place].sum())

    def finish(self) -> BuildSchedule:
        """Put the schedule together."""
        state = self._state
        self._run(self._planner.add(_NO_MOVES, is_end=True))
        if self._moves == 0 and state.known_commands == 0:
            raise BuildFileError("no move and no command in it: this is no build file")
        self._note_the_end()
        marks = self._clock.finish(self._lines, self.bytes)
        still_s = state.dwell_s + state.change_s + state.heating_s
        times = Times(self._clock.now_s - still_s, state.dwell_s, state.change_s, state.heating_s, state.tool_changes)
        known = state.settings.is_acceleration_known or state.has_file_limits
        return BuildSchedule(
            lines=self._lines,
            bytes=self.bytes,
            moves=self._moves,
            duration=duration(times, limits_known=known),
            times=times,
            limits_known=known,
            inputs=tuple(self._ledgers[number].plan() for number in sorted(self._ledgers)),
            unassigned_mm=self._unassigned_mm,
            tools={tool: state.mix_of(tool) for tool in sorted(state.tools_used)},
            set_points=tuple(self._clock.set_points),
            pauses=tuple(self._clock.pauses),
            layers=tuple(self._layers.layers),
            marks=marks,
            unknown=state.unknown.all(),
            notes=state.notes.all(),
        )

    def _note_the_end(self) -> None:
        state = self._state
        if self._moves == 0:
            state.notes.add("no move in the file", 0)
        if any(heater.target_c > 0.0 for heater in state.heaters.values()):
            state.notes.add("heaters are on at the end: the file may have been cut short", self._lines)
        if len(self._layers.layers) >= MOST_LAYERS:
            state.notes.add("the height changes all the time: layers are not all listed", 0)
