"""Temperature, degradation dose and softening dose of every parcel of every strand.

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
from monitor.core.hot_path import MERGE_MM, stiff_from_mm, wall_map
from monitor.core.parameters import Parameters, Strand
from monitor.core.parcels import Position, position, renumber, shares, substep_count
from monitor.core.propagator import Lattice, Propagators, lattice
from monitor.core.softening import softening_rate

_GUARD: Final = 8  # parcels either side of the path whose temperature is followed while a strand moves
_WITHDRAWN_MM: Final = 200.0  # strand withdrawn no further than this upstream of the path keeps its dose
_PASSED_MM: Final = 40.0  # so does what was fed past the merge point no further than this, and is retracted
_SETTLE_S: Final = 600.0  # longer than any strand needs to follow its walls


class FieldState(NamedTuple):
    """All strands at one moment; rows are strands, arrays read-only.

    `temp_c` covers the path and `_GUARD` parcels either side; `dose_min` reaches further, so that material withdrawn
    or just fed past the merge point keeps its dose. Both run from the merge point upstream.
    """

    walls_c: Array  # [ambient, sensors …]
    merge_c: float  # wall at the merge point
    fed_mm: tuple[float, ...]
    places: tuple[Position, ...]  # what `fed_mm` means on the lattice
    temp_c: Array
    log_rate: Array  # of the dose, where `temp_c` is: it is needed again at the start of the next step
    dose_min: Array
    soft_min: Array  # softening dose, shaped as `dose_min`; grows only where the strand must be stiff
    has_softened: bool  # whether any of it is above 0: on a healthy machine there is nothing to carry along


@dataclass(frozen=True, slots=True, eq=False)
class Field:
    """The fixed part of the model: geometry, operators, dose laws of the strands."""

    strands: tuple[Strand, ...]
    kinds: tuple[int, ...]  # which of the propagators' materials each strand is
    grid: Lattice
    propagators: Propagators
    law: DoseLaw
    laws: tuple[DoseLaw, ...]  # the same for each strand alone
    merge_weights: Array
    glass_c: Array  # of each strand, as a column
    lowest_glass_c: float
    stiff_from: int  # first column of the temperature window that lies where a strand must be stiff
    stiff_weights: Array  # of the wall vector, from that column on
    cold_side_weights: Array  # the same, each different row once
    passed: int  # parcels of dose kept downstream of the temperature window
    withdrawn: int  # and upstream of it

    def initial(self, walls_c: Array) -> FieldState:
        """Fresh strands (dose 0) in thermal balance with their walls."""
        merge_c, ambient_c = float(self.merge_weights @ walls_c), float(walls_c[0])
        row = np.concatenate([np.full(_GUARD, merge_c), np.full(self.grid.cells + _GUARD, ambient_c)])
        rows = np.tile(row, (len(self.strands), 1))
        still = (0.0,) * len(self.strands)
        fresh = np.zeros((len(self.strands), self.passed + rows.shape[1] + self.withdrawn))
        places = (self._place(0.0),) * len(self.strands)
        start = _frozen(
            FieldState(walls_c, merge_c, still, places, rows, self.law.log_rate(rows), fresh, fresh, has_softened=False)
        )
        settled = self.advance(start, _SETTLE_S, walls_c, still)
        return settled._replace(dose_min=fresh, soft_min=fresh, has_softened=False)

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
        if parts == 1:
            return self._advance_within_guard(state, step_s, walls_c, feed_mm)
        for part in range(1, parts + 1):
            before_c = state.walls_c
            target_c = before_c + (walls_c - before_c) / (parts - part + 1)
            state = self._advance_within_guard(state, step_s / parts, target_c, [mm / parts for mm in feed_mm])
        return state

    def _advance_within_guard(
        self, state: FieldState, step_s: float, walls_c: Array, feed_mm: Sequence[float]
    ) -> FieldState:
        temp, dose = self._stood(state, step_s, walls_c, feed_mm), state.dose_min.copy()
        aged_for_min = np.full((len(self.strands), 1), step_s / 60.0)
        for strand, moved_mm in enumerate(feed_mm):
            if moved_mm != 0.0:
                rows, shift = self._travel(state, strand, step_s, walls_c, moved_mm)
                self._age_on_the_way(strand, rows, step_s, dose[strand : strand + 1])
                aged_for_min[strand] = 0.0  # done, substep by substep
                temp[strand] = rows[-1]
                renumber(temp[strand], shift)
                renumber(dose[strand], shift)
        log_rate = self.law.log_rate(temp)
        gained = mean_rate(state.log_rate, log_rate)
        gained *= aged_for_min
        self._add(dose, gained)
        fed_mm = tuple(fed + moved for fed, moved in zip(state.fed_mm, feed_mm, strict=True))
        places = tuple(
            place if moved_mm == 0.0 else self._place(fed)
            for place, fed, moved_mm in zip(state.places, fed_mm, feed_mm, strict=True)
        )
        merge_c = float(self.merge_weights @ walls_c)
        soft, has_softened = self._softened(state, walls_c, temp, step_s, places)
        return _frozen(FieldState(walls_c, merge_c, fed_mm, places, temp, log_rate, dose, soft, has_softened))

    def _stood(self, state: FieldState, step_s: float, walls_c: Array, feed_mm: Sequence[float]) -> Array:
        """Temperature rows as if all strands stood still, in one product; those of strands that move are not used."""
        cells, walls = self.grid.cells, len(walls_c)
        # one phase for all that move, so that the same operators serve while a strand feeds
        places = tuple(
            (kind, place.phase if moved_mm == 0.0 else 0)
            for kind, place, moved_mm in zip(self.kinds, state.places, feed_mm, strict=True)
        )
        known = np.empty((len(places), cells + 2 * walls, 1))
        known[:, :cells, 0] = state.temp_c[:, _GUARD : _GUARD + cells]
        known[:, cells : cells + walls, 0] = state.walls_c
        known[:, cells + walls :, 0] = walls_c
        temp = np.empty_like(state.temp_c)
        self._fill_ends(temp, walls_c[None, :])
        temp[:, _GUARD : _GUARD + cells] = (self.propagators.stack(places, step_s) @ known)[:, :, 0]
        return temp

    def _travel(
        self, state: FieldState, strand: int, step_s: float, walls_c: Array, moved_mm: float
    ) -> tuple[Array, int]:
        """Temperature rows of a strand that moves, before and after each substep; and by how many parcels it moved.

        Parcels keep the columns they had when the step began, and the path's window travels over them.
        """
        cells, start_mm, first = self.grid.cells, state.fed_mm[strand], state.places[strand].shift
        substeps = substep_count(abs(moved_mm) / self.grid.cell_mm)
        walls = state.walls_c + shares(substeps) * (walls_c - state.walls_c)
        rows = np.empty((substeps + 1, state.temp_c.shape[1]))
        rows[0] = state.temp_c[strand]
        self._fill_ends(rows[1:], walls[1:])
        walls_of_substep = np.concatenate([walls[:-1], walls[1:]], axis=1)
        known = np.empty(cells + 2 * len(walls_c))
        for substep in range(substeps):
            place = self._place(start_mm + moved_mm * (substep + 0.5) / substeps)
            low = _GUARD + place.shift - first
            known[:cells] = rows[substep, low : low + cells]
            known[cells:] = walls_of_substep[substep]
            matrix = self.propagators.step(self.kinds[strand], place.phase, step_s / substeps)
            np.dot(matrix, known, out=rows[substep + 1, low : low + cells])
        return rows, self._place(start_mm + moved_mm).shift - first

    def _age_on_the_way(self, strand: int, rows: Array, step_s: float, dose_min: Array) -> None:
        """Add what the parcels of a moving strand age from row to row of `_travel`."""
        log_rate = self.laws[strand].log_rate(rows)
        gained = mean_rate(log_rate[:-1], log_rate[1:]).sum(axis=0, keepdims=True)
        gained *= step_s / (len(rows) - 1) / 60.0
        self._add(dose_min, gained)

    def _softened(
        self, state: FieldState, walls_c: Array, temp: Array, step_s: float, places: tuple[Position, ...]
    ) -> tuple[Array, bool]:
        """Softening dose after a step, by the mean of the rates before and after for what stood, else by that after.

        A parcel counts as no hotter than the wall it stands at: what a retraction brings up hot sets again within
        seconds if the wall is cool.
        """
        is_soft = self.cold_side_c(walls_c) > self.lowest_glass_c
        if not (is_soft or state.has_softened):
            return state.soft_min, False
        shifts = [place.shift - before.shift for place, before in zip(places, state.places, strict=True)]
        soft = state.soft_min.copy()
        for strand, shift in enumerate(shifts):
            renumber(soft[strand], shift)
        if is_soft:
            wall_c = self.stiff_weights @ walls_c
            after = softening_rate(np.minimum(temp[:, self.stiff_from :], wall_c), self.glass_c)
            before = softening_rate(np.minimum(state.temp_c[:, self.stiff_from :], wall_c), self.glass_c)
            stood = np.array(shifts)[:, None] == 0
            low, high = self.passed + self.stiff_from, self.passed + temp.shape[1]
            soft[:, low:high] += np.where(stood, (before + after) / 2, after) * (step_s / 60.0)
        return soft, bool(soft.any())

    def _fill_ends(self, rows: Array, walls_c: Array) -> None:
        """Write what lies beyond the path, wherever it stands in the row: the merge point's wall, and ambient."""
        middle = rows.shape[1] // 2
        rows[:, :middle] = (walls_c @ self.merge_weights)[:, None]
        rows[:, middle:] = walls_c[:, :1]

    def _add(self, dose_min: Array, gained_min: Array) -> None:
        """Add to the dose of the temperature window, and alike downstream of it: there all is at the merge wall."""
        dose_min[:, self.passed : self.passed + gained_min.shape[1]] += gained_min
        dose_min[:, : self.passed] += gained_min[:, :1]

    def _place(self, fed_mm: float) -> Position:
        return position(fed_mm, self.grid.cell_mm)

    def path_rows(self, state: FieldState) -> tuple[Array, Array]:
        """Temperature and dose of the parcels upstream of the merge point, each (strands, cells)."""
        temp = state.temp_c[:, _GUARD : _GUARD + self.grid.cells]
        low = self.passed + _GUARD
        return temp, state.dose_min[:, low : low + self.grid.cells]

    def cold_side_c(self, walls_c: Array) -> float:
        """Hottest wall where the strands must be stiff [°C]."""
        return float(max((self.cold_side_weights @ walls_c).tolist()))

    def softest_min(self, state: FieldState) -> list[float]:
        """Highest softening dose of each strand where it must be stiff [min at 20 K above its glass transition]."""
        if not state.has_softened:
            return [0.0] * len(self.strands)
        high = self.passed + _GUARD + self.grid.cells
        softest: list[float] = state.soft_min[:, self.passed + self.stiff_from : high].max(axis=1).tolist()
        return softest

    def centres_mm(self, state: FieldState, strand: int) -> Array:
        """Where the strand's parcels are now [mm upstream of the merge point]."""
        return self.grid.centres_mm(state.places[strand].remainder)


def build_field(parameters: Parameters) -> Field:
    """Prepare the model for one machine and its load."""
    grid = lattice(parameters)
    law = cautious_law(parameters.strands)
    stiff_from = _GUARD + math.ceil(stiff_from_mm(parameters) / grid.cell_mm - 0.5)
    stiff_weights = _upstream_weights(parameters, grid, stiff_from)
    materials = tuple(dict.fromkeys(strand.material for strand in parameters.strands))
    return Field(
        strands=parameters.strands,
        kinds=tuple(materials.index(strand.material) for strand in parameters.strands),
        grid=grid,
        propagators=Propagators(parameters, grid, materials),
        law=law,
        laws=tuple(law.of(strand) for strand in range(len(parameters.strands))),
        merge_weights=wall_map(parameters).at(np.array([MERGE_MM]))[0],
        glass_c=np.array([[strand.material.glass_c] for strand in parameters.strands]),
        lowest_glass_c=min(strand.material.glass_c for strand in parameters.strands),
        stiff_from=stiff_from,
        stiff_weights=stiff_weights,
        cold_side_weights=np.unique(stiff_weights, axis=0),
        passed=math.ceil(_PASSED_MM / grid.cell_mm),
        withdrawn=math.ceil(_WITHDRAWN_MM / grid.cell_mm),
    )


def _upstream_weights(parameters: Parameters, grid: Lattice, first: int) -> Array:
    """Wall map at the columns of the temperature window from `first` on; beyond the path it is ambient."""
    x_mm: Array = (np.arange(first, grid.cells + 2 * _GUARD, dtype=np.float64) - _GUARD + 0.5) * grid.cell_mm
    weights = wall_map(parameters).at(x_mm)
    weights[x_mm > parameters.path_length_mm] = np.eye(weights.shape[1])[0]
    return weights


def _frozen(state: FieldState) -> FieldState:
    for array in (state.walls_c, state.temp_c, state.log_rate, state.dose_min, state.soft_min):
        array.setflags(write=False)
    return state
