"""Settings and material values with their sources, as the recording's header has them."""

from collections.abc import Iterator, Mapping
from typing import Any, Final

from monitor.config import Profile
from monitor.materials.known import MaterialTable
from monitor.materials.model import STATUSES, Value, values
from monitor.profile.faults import shown
from monitor.report.blocks import Block, Heading, Items, Table, Words

CAUTIONS: Final = (
    (
        "This report tells what a program that only watches has concluded; it may be wrong, and it protects nobody. The"
        " machine's own thermal protection, a smoke alarm and somebody within reach must be there whatever it says."
    ),
    "Doses, softening and times left are results of a model, not measurements; their limits are judgement.",
    "Parts stay hot long after power-off. After a failure air the room before you go close.",
    "Do not clear a blockage hot without training and gloves.",
    "Look through a report before you pass it on: names of machines, strands and files are in it.",
)
_DEEPEST: Final = 6
_MOST: Final = 300


def settings_blocks(profile: Profile) -> Iterator[Block]:
    """Every key of the profile and every default, then each material's values."""
    yield Heading("Settings and where they come from")
    own = [(key, value, "the profile") for key, value in _flat(profile.table, "", 0)]
    defaults = [(default.key, shown(default.value), default.origin) for default in profile.defaults]
    rows = [*own, *defaults]
    yield Table(("key", "value", "where from"), tuple(rows[:_MOST]))
    if len(rows) > _MOST:
        yield Words(f"And {len(rows) - _MOST} more.")
    yield from _material_blocks(profile)
    if profile.loans:
        yield Words("Values that a stand-in lends:")
        yield Items(
            tuple(
                f"input {loan.input}: {loan.material} lacks {', '.join(loan.values)}; {loan.stand_in} stands in"
                for loan in profile.loans
            )
        )


def caution_blocks() -> Iterator[Block]:
    """What must not be forgotten."""
    yield Heading("Cautions")
    yield Items(CAUTIONS)


def _material_blocks(profile: Profile) -> Iterator[Block]:
    table = MaterialTable.from_tables(profile.material_tables)
    yield Heading("Material values")
    for name in (*table.names, *table.liner_names):
        yield Heading(name, 3)
        known = values(table.record(name))
        yield Table(
            ("value", "number", "range", "status", "source"), tuple(_value_row(*told) for told in known.items())
        )
    yield Words("Status: " + "; ".join(f"{status}: {meaning}" for status, meaning in STATUSES.items()) + ".")


def _value_row(key: str, value: Value[float]) -> tuple[str, ...]:
    ends = "" if value.low is None and value.high is None else f"{_end(value.low)} to {_end(value.high)}"
    return key, f"{value.number:g}", ends, value.status, value.source or "none"


def _end(number: float | None) -> str:
    return "…" if number is None else f"{number:g}"


def _flat(value: Any, path: str, depth: int) -> Iterator[tuple[str, str]]:  # noqa: ANN401 -- any decoded table
    if depth > _DEEPEST:
        yield path, "…"
    elif isinstance(value, Mapping):
        for key, item in value.items():
            yield from _flat(item, f"{path}.{key}" if path else str(key), depth + 1)
    elif isinstance(value, list | tuple) and any(isinstance(item, Mapping) for item in value):
        for place, item in enumerate(value, start=1):
            yield from _flat(item, f"{path}[{place}]", depth + 1)
    else:
        yield path, shown(value)
