"""Temperature, degradation dose and softening dose of every parcel of every strand.

A parcel is a short length of strand with its own temperature and dose. Feeding moves parcels past the walls and copies
nothing: dose is never smeared, and a retraction and its return leave it as it was. States are immutable, so any of them
can be run ahead without disturbing the watch. Owns no clock and no alerts; knows nothing of telemetry.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from operator import add
from typing import Final

import numpy as np

from monitor.core.assessment import Array
from monitor.core.dose import DoseLaw, log_mean
from monitor.core.field_state import BEFORE_PATH, FieldState, frozen
from monitor.core.parameters import Strand
from monitor.core.parcels import Position, position, renumbered
from monitor.core.propagator import Lattice, Propagators
from monitor.core.stiff_part import StiffPart
from monitor.core.travel import Move, Travel, travel
from monitor.core.wall_points import WallPoints

_SETTLE_S: Final = 600.0  # longer than any strand needs to follow its walls


@dataclass(frozen=True, slots=True, eq=False)
class Field:
    """The fixed part of the model: geometry, operators, dose laws of the strands."""

    strands: tuple[Strand, ...]
    kinds: tuple[int, ...]  # which of the propagators' materials each strand is
    grid: Lattice
    propagators: Propagators
    law: DoseLaw
    laws: tuple[DoseLaw, ...]  # the same for each strand alone
    points: WallPoints
    stiff: StiffPart
    passed: int  # parcels of dose kept downstream of the path
    withdrawn: int  # and upstream of it

    def initial(self, walls_c: Array) -> FieldState:
        """Fresh strands (dose 0) in thermal balance with their walls."""
        walls, count = self.points.facts(walls_c), len(self.strands)
        temp = np.full((count, BEFORE_PATH + self.grid.cells), walls_c[0])
        temp[:, :BEFORE_PATH] = walls.shared_c, walls.merge_c
        fresh = np.zeros((count, self.passed + self.grid.cells + self.withdrawn))
        log_rate = self.law.log_rate(temp)
        places, still = (self._place(0.0),) * count, (0.0,) * count
        start = FieldState(walls_c, walls, still, still, places, temp, log_rate, np.exp(log_rate), fresh)
        settled = self.advance(frozen(start), _SETTLE_S, walls_c, still)
        return settled._replace(dose_min=start.dose_min, soft_min=None)

    def advance(
        self, state: FieldState, step_s: float, walls_c: Array, feed_mm: Sequence[float], *, is_known: bool = True
    ) -> FieldState:
        """State after `step_s` seconds in which the walls run linearly to `walls_c` and strands feed `feed_mm` each.

        Parameters
        ----------
        step_s : float
            Length of the step, above 0 [s].
        walls_c : Array
            Wall vector at its end [°C].
        feed_mm : Sequence[float]
            Feed of each strand within the step, negative for a retraction [mm].
        is_known : bool
            False when the walls are a guess: the dose gained counts, but is kept apart as well.

        Notes
        -----
        Half a move, conduction, half a move (Strang), in substeps in which a strand travels at most one parcel; of a
        long feed only the last part, of which something stays, is gone through.
        """
        longest_mm = max(map(abs, feed_mm), default=0.0)
        if longest_mm > (self.passed + self.grid.cells) * self.grid.cell_mm:
            tails_mm = [self.tail_mm(mm) for mm in feed_mm]
            state, feed_mm = (
                self.skipped(state, [mm - tail for mm, tail in zip(feed_mm, tails_mm, strict=True)]),
                tails_mm,
            )
            longest_mm = max(map(abs, feed_mm))
        reach_mm = (self.passed - 2) * self.grid.cell_mm
        parts = math.ceil(longest_mm / reach_mm) or 1
        fed_mm = feed_mm if parts == 1 else [mm / parts for mm in feed_mm]
        for part in range(parts, 1, -1):
            target_c = state.walls_c + (walls_c - state.walls_c) / part
            state = self._step(state, step_s / parts, target_c, fed_mm, is_known=is_known)
        return self._step(state, step_s / parts, walls_c, fed_mm, is_known=is_known)

    def of(self, strand: int) -> "Field":
        """The model of one strand alone, for running it ahead; strands do not heat each other."""
        one = slice(strand, strand + 1)
        own = self.strands[strand].material.glass_c
        return replace(
            self,
            strands=self.strands[one],
            kinds=self.kinds[one],
            law=self.laws[strand],
            laws=self.laws[one],
            stiff=replace(self.stiff, glass_c=self.stiff.glass_c[one], lowest_glass_c=own),
        )

    def state_of(self, state: FieldState, strand: int) -> FieldState:
        """The state of one strand alone, for the model that `of` gives."""
        one = slice(strand, strand + 1)
        return state._replace(
            fed_mm=state.fed_mm[one],
            high_mm=state.high_mm[one],
            places=state.places[one],
            temp_c=state.temp_c[one],
            log_rate=state.log_rate[one],
            rate=state.rate[one],
            dose_min=state.dose_min[one],
            unsure_min=None if state.unsure_min is None else state.unsure_min[one],
            soft_min=None if state.soft_min is None else state.soft_min[one],
        )

    def _step(
        self, state: FieldState, step_s: float, walls_c: Array, feed_mm: Sequence[float], *, is_known: bool
    ) -> FieldState:
        walls, temp = self.points.facts(walls_c), self._stood(state, step_s, walls_c, feed_mm)
        temp[:, :BEFORE_PATH] = walls.shared_c, walls.merge_c
        travels = [
            self._moved(state, Move(strand, moved_mm, step_s, walls.merge_c, walls_c))
            for strand, moved_mm in enumerate(feed_mm)
            if moved_mm != 0.0
        ]
        for moved in travels:
            temp[moved.strand, BEFORE_PATH:] = moved.temp_c
        log_rate = self.law.log_rate(temp)
        rate = np.exp(log_rate)
        dose = self._aged(state, log_rate, rate, step_s, travels)
        unsure = state.unsure_min if is_known else self._kept_apart(state, dose)
        soft = self._softened(state, walls_c, walls.cold_side_c, temp, step_s, travels)
        if not travels:
            still = state.fed_mm, state.high_mm, state.places
            return frozen(FieldState(walls_c, walls, *still, temp, log_rate, rate, dose, unsure, soft))
        shifts = [0] * len(self.strands)
        for moved in travels:
            shifts[moved.strand] = moved.shift
        fed_mm = tuple(map(add, state.fed_mm, feed_mm))
        places = tuple(
            place if moved_mm == 0.0 else self._place(fed)
            for place, fed, moved_mm in zip(state.places, fed_mm, feed_mm, strict=True)
        )
        high_mm = tuple(map(max, state.high_mm, fed_mm))
        dose, unsure, soft = renumbered(dose, shifts), renumbered(unsure, shifts), renumbered(soft, shifts)
        return frozen(FieldState(walls_c, walls, fed_mm, high_mm, places, temp, log_rate, rate, dose, unsure, soft))

    def _stood(self, state: FieldState, step_s: float, walls_c: Array, feed_mm: Sequence[float]) -> Array:
        """Temperature rows as if all strands stood still, in one product; those of strands that move are not used."""
        cells, walls = self.grid.cells, len(walls_c)
        # one phase for all that move, so that the same operators serve while a strand feeds
        places = tuple(
            (kind, place.phase if moved_mm == 0.0 else 0)
            for kind, place, moved_mm in zip(self.kinds, state.places, feed_mm, strict=True)
        )
        known = np.empty((len(places), cells + 2 * walls, 1))
        known[:, :cells, 0] = state.temp_c[:, BEFORE_PATH:]
        known[:, cells : cells + walls, 0] = state.walls_c
        known[:, cells + walls :, 0] = walls_c
        temp = np.empty_like(state.temp_c)
        temp[:, BEFORE_PATH:] = (self.propagators.stack(places, step_s) @ known)[:, :, 0]
        return temp

    def _moved(self, state: FieldState, move: Move) -> Travel:
        kind = self.kinds[move.strand]

        def operator(phase: int, substeps: int) -> Array:
            return self.propagators.step(kind, phase, move.step_s / substeps)

        return travel(self.grid, operator, self.laws[move.strand], state, move)

    def _aged(self, state: FieldState, log_rate: Array, rate: Array, step_s: float, travels: list[Travel]) -> Array:
        """Doses after a step, parcels still in the columns they had before."""
        gained = log_mean(log_rate - state.log_rate, state.rate, rate)
        gained *= step_s / 60.0
        for moved in travels:
            gained[moved.strand] = 0.0  # done substep by substep
        dose = state.dose_min.copy()
        dose[:, self.passed : self.passed + self.grid.cells] += gained[:, BEFORE_PATH:]
        dose[:, : self.passed] += gained[:, BEFORE_PATH - 1 : BEFORE_PATH]
        for moved in travels:
            row, low = dose[moved.strand], self.passed - moved.pad
            row[low : low + len(moved.gained_min)] += moved.gained_min
            row[:low] += moved.gained_min[0]
        return dose

    def _kept_apart(self, state: FieldState, dose: Array) -> Array:
        gained = dose - state.dose_min
        return gained if state.unsure_min is None else state.unsure_min + gained

    def _softened(
        self,
        state: FieldState,
        walls_c: Array,
        cold_side_c: float,
        temp: Array,
        step_s: float,
        travels: list[Travel],
    ) -> Array | None:
        """Softening dose after a step, parcels still in the columns they had before."""
        if cold_side_c <= self.stiff.lowest_glass_c:
            return state.soft_min
        soft = np.zeros_like(state.dose_min) if state.soft_min is None else state.soft_min.copy()
        shifts = {moved.strand: moved.shift for moved in travels}
        stood = np.array([not shifts.get(strand) for strand in range(len(self.strands))])
        before_c, after_c = state.temp_c[:, BEFORE_PATH:], temp[:, BEFORE_PATH:]
        gained = self.stiff.gained_min((state.walls_c, walls_c), before_c, after_c, stood, step_s)
        for strand, row in enumerate(gained):
            low = self.passed + self.stiff.first + shifts.get(strand, 0)
            soft[strand, low : low + len(row)] += row
        return soft

    def skipped(self, state: FieldState, feed_mm: Sequence[float]) -> FieldState:
        """State once strands have gone by so far in no time, without ageing."""
        fed_mm = tuple(map(add, state.fed_mm, feed_mm))
        places = tuple(map(self._place, fed_mm))
        shifts = [place.shift - before.shift for place, before in zip(places, state.places, strict=True)]
        return state._replace(
            fed_mm=fed_mm,
            high_mm=tuple(map(max, state.high_mm, fed_mm)),
            places=places,
            dose_min=renumbered(state.dose_min, shifts),
            unsure_min=renumbered(state.unsure_min, shifts),
            soft_min=renumbered(state.soft_min, shifts),
        )

    def tail_mm(self, moved_mm: float) -> float:
        """The last part of a move that matters: what was on the path before it is forgotten, or beyond the path."""
        kept = self.passed + self.grid.cells + (0 if moved_mm > 0 else self.withdrawn)
        return math.copysign(min(abs(moved_mm), kept * self.grid.cell_mm), moved_mm)

    def _place(self, fed_mm: float) -> Position:
        return position(fed_mm, self.grid.cell_mm)

    def path_rows(self, state: FieldState) -> tuple[Array, Array]:
        """Temperature and dose of the parcels upstream of the merge point, each (strands, cells)."""
        return state.temp_c[:, BEFORE_PATH:], self._on_path(state.dose_min)

    def oldest_min(self, state: FieldState) -> list[float]:
        """Highest dose of each strand upstream of the merge point [min at its reference temperature]."""
        oldest: list[float] = self._on_path(state.dose_min).max(axis=1).tolist()
        return oldest

    def passing_min(self, state: FieldState, new_mm: Sequence[float]) -> list[float]:
        """Highest dose of what has just passed the merge point, so much of each strand; 0 of those that have not."""
        cells = [min(self.passed, math.ceil(mm / self.grid.cell_mm)) for mm in new_mm]
        low, dose_min = self.passed, state.dose_min
        return [
            float(dose_min[strand, low - count : low].max()) if count else 0.0 for strand, count in enumerate(cells)
        ]

    def surest_min(self, state: FieldState) -> list[float]:
        """The same without what was gained while nobody knew the walls: the low end of the range."""
        if state.unsure_min is None:
            return self.oldest_min(state)
        surest: list[float] = self._on_path(state.dose_min - state.unsure_min).max(axis=1).tolist()
        return surest

    def unsure_min(self, state: FieldState, strand: int) -> Array | float:
        """The part of one strand's doses on the path that was gained while nobody knew the walls; 0 where none was."""
        return 0.0 if state.unsure_min is None else self._on_path(state.unsure_min)[strand]

    def softest_min(self, state: FieldState) -> list[float]:
        """Highest softening dose of each strand where it must be stiff [min at 20 K above its glass transition]."""
        if state.soft_min is None or self.stiff.first == self.grid.cells:
            return [0.0] * len(self.strands)
        softest: list[float] = self._on_path(state.soft_min)[:, self.stiff.first :].max(axis=1).tolist()
        return softest

    def centres_mm(self, state: FieldState, strand: int) -> Array:
        """Where the strand's parcels are now [mm upstream of the merge point]."""
        return self.grid.centres_mm(state.places[strand].remainder)

    def _on_path(self, dose_min: Array) -> Array:
        return dose_min[:, self.passed : self.passed + self.grid.cells]
