"""Temperature and degradation dose of every parcel of every strand.

A parcel is a short length of strand with its own temperature and dose. Feeding moves parcels past the walls and copies
nothing: dose is never smeared, and a retraction and its return leave it as it was. States are immutable, so any of them
can be run ahead without disturbing the watch. Owns no clock and no alerts; knows nothing of telemetry.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from monitor.core.assessment import Array
from monitor.core.dose import DoseLaw, cautious_law, mean_rate
from monitor.core.hot_path import wall_map
from monitor.core.parameters import Parameters, Strand
from monitor.core.propagator import PHASES, Lattice, Propagators, lattice

_GUARD: Final = 16  # parcels either side of the path whose temperature is followed while a strand moves
_WITHDRAWN_MM: Final = 200.0  # strand withdrawn no further than this upstream of the path keeps its dose
_PASSED_MM: Final = 40.0  # so does what was fed past the merge point no further than this, and is retracted
_SETTLE_S: Final = 600.0  # longer than any strand needs to follow its walls


class Position(NamedTuple):
    """Where a strand stands on the lattice: `shift` whole parcels fed, `remainder` in [0, 1) of a cell still to go."""

    shift: int
    remainder: float

    @property
    def phase(self) -> int:
        """Which of the ready-made operators fits."""
        return min(PHASES - 1, int(self.remainder * PHASES))


def position(fed_mm: float, cell_mm: float) -> Position:
    """Lattice position after `fed_mm` of feed in all.

    It depends on the sum alone, so no sequence of small moves can drift.

    >>> position(0.0, 0.5), position(0.75, 0.5)
    (Position(shift=0, remainder=0.0), Position(shift=2, remainder=0.5))
    """
    cells = fed_mm / cell_mm
    shift = math.ceil(cells)
    return Position(shift, shift - cells)


@dataclass(frozen=True, slots=True, eq=False)
class FieldState:
    """All strands at one moment; rows are strands, arrays read-only.

    `temp_c` covers the path and `_GUARD` parcels either side; `dose_min` reaches further, so that material withdrawn
    or just fed past the merge point keeps its dose. Both run from the merge point upstream.
    """

    walls_c: Array  # [ambient, sensors …]
    fed_mm: tuple[float, ...]
    temp_c: Array
    dose_min: Array


@dataclass(frozen=True, slots=True, eq=False)
class Field:
    """The fixed part of the model: geometry, operators, dose laws of the strands."""

    strands: tuple[Strand, ...]
    kinds: tuple[int, ...]  # which of the propagators' materials each strand is
    grid: Lattice
    propagators: Propagators
    law: DoseLaw
    merge_weights: Array
    passed: int  # parcels of dose kept downstream of the temperature window
    withdrawn: int  # and upstream of it

    def initial(self, walls_c: Array) -> FieldState:
        """Fresh strands (dose 0) in thermal balance with their walls."""
        merge_c, ambient_c = float(self.merge_weights @ walls_c), float(walls_c[0])
        row = np.concatenate([np.full(_GUARD, merge_c), np.full(self.grid.cells + _GUARD, ambient_c)])
        rows = np.tile(row, (len(self.strands), 1))
        dose = np.zeros((len(self.strands), self.passed + rows.shape[1] + self.withdrawn))
        start = _frozen(FieldState(walls_c, (0.0,) * len(self.strands), rows, dose))
        settled = self.advance(start, _SETTLE_S, walls_c, (0.0,) * len(self.strands))
        return _frozen(FieldState(walls_c, start.fed_mm, settled.temp_c, dose))

    def advance(self, state: FieldState, step_s: float, walls_c: Array, feed_mm: Sequence[float]) -> FieldState:
        """State after `step_s` seconds in which the walls run linearly to `walls_c` and strands feed `feed_mm` each.

        Parameters
        ----------
        step_s : float
            Length of the step, above 0 [s].
        walls_c : Array
            Wall vector at its end [°C].
        feed_mm : Sequence[float]
            Feed of each strand within the step, negative for a retraction [mm].

        Notes
        -----
        Half a move, conduction, half a move (Strang), in substeps in which a strand travels at most one parcel.
        """
        reach_mm = (_GUARD - 1) * self.grid.cell_mm
        parts = math.ceil(max(map(abs, feed_mm), default=0.0) / reach_mm) or 1
        for part in range(1, parts + 1):
            before_c = state.walls_c
            target_c = before_c + (walls_c - before_c) / (parts - part + 1)
            state = self._advance_within_guard(state, step_s / parts, target_c, [mm / parts for mm in feed_mm])
        return state

    def _advance_within_guard(
        self, state: FieldState, step_s: float, walls_c: Array, feed_mm: Sequence[float]
    ) -> FieldState:
        standing = [strand for strand, moved_mm in enumerate(feed_mm) if moved_mm == 0.0]
        temp, dose = np.empty_like(state.temp_c), state.dose_min.copy()
        if standing:
            temp[standing] = self._stood(state, standing, step_s, walls_c)
            law = self.law.rows(standing)
            rates = mean_rate(law.log_rate(state.temp_c[standing]), law.log_rate(temp[standing]))
            self._add(dose, standing, rates * (step_s / 60.0))
        for strand, moved_mm in enumerate(feed_mm):
            if moved_mm != 0.0:
                temp[strand], dose[strand] = self._fed(state, strand, step_s, walls_c, moved_mm)
        fed_mm = tuple(fed + moved for fed, moved in zip(state.fed_mm, feed_mm, strict=True))
        return _frozen(FieldState(walls_c, fed_mm, temp, dose))

    def _stood(self, state: FieldState, standing: Sequence[int], step_s: float, walls_c: Array) -> Array:
        """Temperature rows of strands that stood still, all in one product."""
        places = tuple((self.kinds[strand], self._place(state.fed_mm[strand]).phase) for strand in standing)
        path = state.temp_c[standing, _GUARD : _GUARD + self.grid.cells]
        both_walls = np.concatenate([state.walls_c, walls_c])
        ends = np.broadcast_to(both_walls, (len(standing), len(both_walls)))
        rows = np.empty((len(standing), state.temp_c.shape[1]))
        product = self.propagators.stack(places, step_s) @ np.concatenate([path, ends], axis=1)[:, :, None]
        self._fill(rows, product[:, :, 0], _GUARD, walls_c)
        return rows

    def _fed(
        self, state: FieldState, strand: int, step_s: float, walls_c: Array, moved_mm: float
    ) -> tuple[Array, Array]:
        """Temperature and dose row of a strand that moved.

        While it moves, parcels keep the columns they had when the step began and the path's window travels over them.
        """
        cell_mm, start_mm = self.grid.cell_mm, state.fed_mm[strand]
        substeps = max(1, math.ceil(abs(moved_mm) / cell_mm))
        walls = state.walls_c + np.arange(substeps + 1.0)[:, None] * ((walls_c - state.walls_c) / substeps)
        first = self._place(start_mm).shift
        rows = np.empty((substeps + 1, state.temp_c.shape[1]))
        rows[0] = state.temp_c[strand]
        for substep in range(substeps):
            place = self._place(start_mm + moved_mm * (substep + 0.5) / substeps)
            low = _GUARD + place.shift - first
            known = np.concatenate([rows[substep, low : low + self.grid.cells], walls[substep : substep + 2].ravel()])
            matrix = self.propagators.step(self.kinds[strand], place.phase, step_s / substeps)
            self._fill(rows[substep + 1 : substep + 2], matrix @ known, low, walls[substep + 1])
        dose = state.dose_min[strand : strand + 1].copy()
        log_rate = self.law.rows([strand]).log_rate(rows)
        rates = mean_rate(log_rate[:-1], log_rate[1:]).sum(axis=0, keepdims=True)
        self._add(dose, [0], rates * (step_s / substeps / 60.0))
        shift = self._place(start_mm + moved_mm).shift - first
        return _moved(rows[-1], shift), _moved(dose[0], shift)

    def _fill(self, rows: Array, path: Array, low: int, walls_c: Array) -> None:
        """Write temperature rows: the path from column `low`, beyond it the merge point's wall and ambient."""
        rows[:, :low] = self.merge_weights @ walls_c
        rows[:, low : low + self.grid.cells] = path
        rows[:, low + self.grid.cells :] = walls_c[0]

    def _add(self, dose_min: Array, rows: Sequence[int], gained_min: Array) -> None:
        """Add to the dose of the temperature window, and alike downstream of it: there all is at the merge wall."""
        dose_min[rows, self.passed : self.passed + gained_min.shape[1]] += gained_min
        dose_min[rows, : self.passed] += gained_min[:, :1]

    def _place(self, fed_mm: float) -> Position:
        return position(fed_mm, self.grid.cell_mm)

    def path_rows(self, state: FieldState) -> tuple[Array, Array]:
        """Temperature and dose of the parcels upstream of the merge point, each (strands, cells)."""
        temp = state.temp_c[:, _GUARD : _GUARD + self.grid.cells]
        low = self.passed + _GUARD
        return temp, state.dose_min[:, low : low + self.grid.cells]

    def centres_mm(self, state: FieldState, strand: int) -> Array:
        """Where the strand's parcels are now [mm upstream of the merge point]."""
        return self.grid.centres_mm(self._place(state.fed_mm[strand]).remainder)


def build_field(parameters: Parameters) -> Field:
    """Prepare the model for one machine and its load."""
    grid = lattice(parameters)
    materials = tuple(dict.fromkeys(strand.material for strand in parameters.strands))
    return Field(
        strands=parameters.strands,
        kinds=tuple(materials.index(strand.material) for strand in parameters.strands),
        grid=grid,
        propagators=Propagators(parameters, grid, materials),
        law=cautious_law(parameters.strands),
        merge_weights=wall_map(parameters).at(np.array([0.0]))[0],
        passed=math.ceil(_PASSED_MM / grid.cell_mm),
        withdrawn=math.ceil(_WITHDRAWN_MM / grid.cell_mm),
    )


def _moved(row: Array, shift: int) -> Array:
    """Row after `shift` parcels went by; what enters from outside takes the value at the edge it came over."""
    if shift == 0:
        return row
    if shift > 0:
        return np.concatenate([row[shift:], np.full(shift, row[-1])])
    return np.concatenate([np.full(-shift, row[0]), row[:shift]])


def _frozen(state: FieldState) -> FieldState:
    for array in (state.walls_c, state.temp_c, state.dose_min):
        array.setflags(write=False)
    return state
