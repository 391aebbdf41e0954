"""The check of a load, told block by block: can all share, how hot, how long each may stand, pair by pair, purges.

Owns that wording.
"""

import math
from collections.abc import Iterable, Iterator
from typing import Final

from connectors.clean_text import clean_text
from monitor.core.parameters import Parameters, Strand
from monitor.core.span import Span
from monitor.plan_pages.blocks import Block, Heading, Items, Table, Tone, Words
from monitor.planning.clock_words import planned_words
from monitor.planning.load_out import LoadOut, Sharing

_HOUR_S: Final = 3600.0
_WHOLE_FROM_S, _LONG_S = 10 * _HOUR_S, 100 * _HOUR_S
_COLUMNS: Final = 6
"""So many columns of the matrix stand beside each other."""
_SHOWN: Final = 12


class LoadOutWords:
    """Tells one check.

    Parameters
    ----------
    found : LoadOut
        What was found.
    parameters : Parameters
        Of the machine, with the strands that were checked.
    is_list : bool
        The strands are only a list of materials, not loaded.
    notes : iterable of str
        Told beside the cautions.
    """

    def __init__(self, found: LoadOut, parameters: Parameters, *, is_list: bool, notes: Iterable[str] = ()) -> None:
        self._found, self._parameters, self._is_list, self._notes = found, parameters, is_list, tuple(notes)
        self._strands = {strand.input: strand for strand in found.strands}

    def blocks(self) -> Iterator[Block]:
        """All of it."""
        machine = clean_text(self._parameters.machine)
        yield Heading(f"{'These materials' if self._is_list else 'The load'} in the hot path of {machine}", 1)
        yield from self._answer()
        yield from self._strand_table()
        yield from self._matrix()
        yield Heading("Changing from one material to another")
        yield Words(
            f"From the merge point to the nozzle the path holds {self._found.purge_mm:.0f} mm of strand: so much renews"
            " it, if it flowed like a plug. Melt at the wall lags: in practice more than a metre is common after a full"
            " change of the path (common practice, no source). Go by the longer one where the materials do not get on."
        )
        yield Heading("Cautions")
        yield Items((*_cautions(), *self._notes))

    def _name(self, number: int) -> str:
        strand = self._strands[number]
        name = clean_text(strand.label or strand.material.name)
        return name if self._is_list else f"input {number} ({name})"

    def _answer(self) -> Iterator[Words]:
        everything = self._found.all
        if everything.works:
            needed, most_c = self._name(everything.needed_by), everything.bound.most_c
            yield Words(
                f"All can share it, with the manifold at {everything.set_c:.0f} °C or more, which {needed} needs; never"
                f" hotter than {most_c:.0f} °C, which is {self._bound(everything)}.",
                Tone.GOOD,
            )
            return
        yield Words(f"They cannot all share it: {self._why_not(everything)}.", Tone.BAD)
        largest = self._found.largest
        if largest is not None:
            names = ", ".join(map(self._name, largest.inputs))
            yield Words(f"Most that can: {names}, at {largest.set_c:.0f} °C or more.")

    def _bound(self, sharing: Sharing) -> str:
        bound = sharing.bound
        if bound.input is not None:
            return f"the ceiling of {self._name(bound.input)}"
        return "as hot as any plan goes" if bound.liner is None else f"the first limit of the liner in {bound.liner}"

    def _why_not(self, sharing: Sharing) -> str:
        needed, most_c = self._name(sharing.needed_by), sharing.bound.most_c
        return f"{needed} feeds only from {sharing.set_c:.0f} °C on; {most_c:.0f} °C is {self._bound(sharing)}"

    def _strand_table(self) -> Iterator[Block]:
        sharing = self._found.all if self._found.all.works else self._found.largest
        yield Heading("How long each may stand idle")
        if sharing is None or not sharing.works:
            yield Words("Nothing can feed in this hot path.", Tone.BAD)
            return
        rows = []
        for idle in sharing.idle:
            strand = self._strands[idle.input]
            feeds = f"{strand.material.min_feed_c:.0f}{'*' if strand.material.min_feed_is_rule else ''}"
            ceiling = f"{strand.material.ceiling_c:.0f}"
            rows.append(
                (str(idle.input), self._label(strand), feeds, ceiling, _range(idle.warn_s), _range(idle.limit_s))
            )
        heads = ("", "strand", "feeds from", "ceiling", "to its warn dose", "to its limit")
        yield Table(heads, tuple(rows), wide=1, right=(0, 2, 3, 4, 5))
        yield Words(
            f"At {sharing.set_c:.0f} °C, from fresh, in hours and minutes: cautious to hopeful. Temperatures in °C;"
            " * is a rule of thumb, to be replaced by a bench test.",
            Tone.FAINT,
        )

    def _label(self, strand: Strand) -> str:
        own = clean_text(strand.material.name)
        label = clean_text(strand.label)
        return f"{label} ({own})" if label and not self._is_list else own

    def _short(self, strand: Strand) -> str:
        return clean_text(strand.material.name if self._is_list else strand.label or strand.material.name)

    def _matrix(self) -> Iterator[Block]:
        if not self._found.pairs:
            return
        pairs = {pair.inputs: pair for pair in self._found.pairs}
        inputs = [strand.input for strand in self._found.strands]
        yield Heading("Pair by pair")
        for low in range(0, len(inputs), _COLUMNS):
            columns = inputs[low : low + _COLUMNS]
            rows = tuple(
                (str(one), self._short(self._strands[one]), *(_cell(pairs, one, other) for other in columns))
                for one in inputs
            )
            yield Table(("", "strand", *map(str, columns)), rows, wide=1, right=(0,))
        yield Words(
            "Lowest set point at which both feed [°C], and the time until the first of the two passes its warn dose"
            " standing there, the cautious end, in hours and minutes.",
            Tone.FAINT,
        )
        cannot = [pair for pair in self._found.pairs if not pair.works]
        if cannot:
            more = [f"and {len(cannot) - _SHOWN} more pairs (--json lists them)"] if len(cannot) > _SHOWN else []
            yield Items((*(self._pair_text(pair) for pair in cannot[:_SHOWN]), *more))

    def _pair_text(self, pair: Sharing) -> str:
        first, second = pair.inputs
        return f"{self._name(first)} and {self._name(second)} cannot: {self._why_not(pair)}"


def _cell(pairs: dict[tuple[int, ...], Sharing], one: int, other: int) -> str:
    if one == other:
        return "–"
    pair = pairs[one, other] if (one, other) in pairs else pairs[other, one]
    return f"{pair.set_c:.0f} {_hours(pair.shortest_warn_s)}" if pair.works else "cannot"


def _hours(time_s: float) -> str:
    """Rounded down; of long times only the hours.

    >>> _hours(3659.0), _hours(12.9 * 3600.0), _hours(1e9)
    ('1:00', '12 h', '>99 h')
    """
    if time_s >= _LONG_S:
        return ">99 h"
    if time_s >= _WHOLE_FROM_S:
        return f"{math.floor(time_s / _HOUR_S)} h"
    return planned_words(math.floor(time_s / 60.0) * 60.0)


def _range(span: Span) -> str:
    low, high = _hours(span.low), _hours(span.high)
    return low if low == high else f"{low}–{high}"


def _cautions() -> Iterator[str]:
    yield "Dose limits are judgement, uncertain by a factor of three or so. What is not known to be dry ages faster."
    yield "That materials can share a path says nothing of whether they stick to each other, or react in the nozzle."
    yield "Hot parts, hot melt; ventilate. Keep the machine's own thermal protection working."
    yield "Nothing was sent to the machine."
