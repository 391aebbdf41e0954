"""The materials in words: a table of what the engine uses, all that is known of one, and the same for machines.

Owns layout and wording. Does not know where the values come from.
"""

import json
from collections.abc import Iterator, Sequence
from textwrap import wrap
from typing import Any, Final

from monitor.materials.checks import min_feed
from monitor.materials.example import EXAMPLE
from monitor.materials.files import user_file
from monitor.materials.known import RULE_STATUSES, MaterialTable, missing
from monitor.materials.model import STATUSES, Entry, LinerTable, PolymerTable, Value, values, weakest
from monitor.materials.stand_in import NEEDED

WIDTH: Final = 80
_INDENT: Final = "    "
_NAME_WIDTH: Final = 14
_UNKNOWN: Final = "–"
_UNITS: Final = {
    "_c": "°C",
    "_kj_mol": "kJ/mol",
    "_min": "min",
    "_kg_m3": "kg/m³",
    "_j_kg_k": "J/(kg K)",
    "_w_m_k": "W/(m K)",
}
_PHYSICAL: Final = ("density_kg_m3", "heat_capacity_j_kg_k", "conductivity_w_m_k")
"""Shown last: seldom asked for."""
_COLUMNS: Final = {
    "glass_c": ("glass", 5),
    "melt_c": ("melt", 6),
    "ceiling_c": ("ceiling", 9),
    "reference_c": ("reference", 11),
    "warn_min": ("warn", 6),
    "limit_min": ("limit", 7),
    "min_feed_c": ("feeds from", 12),
}


def table_lines(table: MaterialTable) -> Iterator[str]:
    """Give one line per material with the numbers that the engine uses."""
    titles = "".join(f"{title:>{width}}" for title, width in _COLUMNS.values())
    units = "".join(f"{_unit(key):>{width}}" for key, (_, width) in _COLUMNS.items())
    yield f"{'material':<{_NAME_WIDTH}}{titles}  weakest"
    yield f"{'':<{_NAME_WIDTH}}{units}  status"
    for name in table.names:
        yield _row(name, table.record(name))
    yield ""
    for name in table.liner_names:
        yield from _wrapped(f"liner {name}: {_liner_summary(table.record(name))}")
    yield from _wrapped(
        "warn, limit: dose in minutes at the reference temperature. feeds from: lowest manifold wall; * is a rule of"
        " thumb, to be replaced by a bench test. weakest status: of the values used."
    )
    yield ""
    yield from _legend()
    yield ""
    yield "strandwatch materials NAME shows every value with its range and source."
    yield "Values of your own go into a file such as"
    yield from EXAMPLE.splitlines()
    yield "or under [materials.PETG] in the profile. The file's place:"
    yield f"  {user_file()}"


def detail_lines(table: MaterialTable, names: Sequence[str]) -> Iterator[str]:
    """Give every value of the materials named, with unit, range, status and source."""
    for name in names:
        entry = table.record(name)
        structure = f", {entry.structure}" if isinstance(entry, PolymerTable) and entry.structure else ""
        yield from _wrapped(f"{name}: {entry.title or 'no title'}{structure}")
        for text in (entry.goes_wrong, entry.note):
            yield from _wrapped(text)
        for key, value in _shown(entry).items():
            yield ""
            yield from _value_lines(key, type(entry).model_fields[key].description or "", value)
        lacking = missing(entry)
        if lacking:
            yield ""
            yield from _wrapped(
                f"LACKS {', '.join(lacking)}: the watch cannot use it until they are known, or a stand_in lends them."
            )
        yield ""
    yield from _legend()


def json_text(table: MaterialTable, names: Sequence[str]) -> str:
    """Give the materials named, or all, as one JSON object.

    Its keys: `materials`, by name the table with each value's range, status and source, the rule of thumb filled in,
    and under `used` the numbers that the engine takes; `statuses`, what each status means.
    """
    chosen = names or (*table.names, *table.liner_names)
    found = {name: _json_entry(table.record(name)) for name in chosen}
    return json.dumps({"materials": found, "statuses": STATUSES}, ensure_ascii=False, allow_nan=False, indent=2)


def _json_entry(entry: Entry) -> dict[str, Any]:
    shown = _shown(entry)
    full = entry.model_dump(exclude_none=True) | {
        key: value.model_dump(exclude_none=True) for key, value in shown.items()
    }
    return {**full, "used": {key: value.number for key, value in shown.items()}, "missing": missing(entry)}


def _shown(entry: Entry) -> dict[str, Value[float]]:
    """All values, the rule of thumb among them where it stands in."""
    shown = values(entry)
    least = min_feed(entry) if isinstance(entry, PolymerTable) else None
    if least is not None:
        shown["min_feed_c"] = least
    return dict(sorted(shown.items(), key=lambda item: item[0] in _PHYSICAL))


def _row(name: str, entry: Entry) -> str:
    shown = _shown(entry)
    cells = "".join(f"{_cell(key, shown.get(key)):>{width}}" for key, (_, width) in _COLUMNS.items())
    short = name if len(name) < _NAME_WIDTH else name[: _NAME_WIDTH - 2] + "…"
    status = weakest([value.status for key, value in shown.items() if key in (*NEEDED, "melt_c", "min_feed_c")])
    return f"{short:<{_NAME_WIDTH}}{cells}  {'lacks values' if missing(entry) else status}"


def _cell(key: str, value: Value[float] | None) -> str:
    if value is None:
        return _UNKNOWN
    rule = "*" if key == "min_feed_c" and value.status in RULE_STATUSES else ""
    return f"{value.number:g}{rule}"


def _liner_summary(entry: Entry) -> str:
    if not isinstance(entry, LinerTable) or missing(entry):
        return f"lacks {', '.join(missing(entry))}"
    known = values(entry)
    limits = {"warn above": "warn_c", "alarm above": "alarm_c", "stop heating above": "stop_c"}
    text = ", ".join(f"{word} {known[key].number:g} °C" for word, key in limits.items())
    return f"{text} ({weakest([known[key].status for key in limits.values()])})"


def _value_lines(key: str, title: str, value: Value[float]) -> Iterator[str]:
    unit = _unit(key)
    ends = [end for end in (value.low, value.high) if end is not None]
    parts = [f"{value.number:g} {unit}".strip()]
    if value.used is not None and value.used != value.value:
        parts.append(f"used for caution in place of {value.value:g}")
    if ends:
        parts.append(_range(value))
    yield f"{key}: {title}"
    yield from _wrapped(f"{', '.join(parts)}   [{value.status}]", _INDENT)
    yield from _wrapped(f"source: {value.source or 'none'}", _INDENT)
    if value.note:
        yield from _wrapped(f"note: {value.note}", _INDENT)


def _range(value: Value[float]) -> str:
    if value.low is None:
        return f"at most {value.high:g}"
    if value.high is None:
        return f"at least {value.low:g}"
    return f"range {value.low:g} to {value.high:g}"


def _unit(key: str) -> str:
    return next((unit for ending, unit in _UNITS.items() if key.endswith(ending)), "")


def _legend() -> Iterator[str]:
    yield "Status of a value; two with a stroke: partly each, as its note says."
    for status, meaning in STATUSES.items():
        yield f"  {status:<9}{meaning}"


def _wrapped(text: str, indent: str = "") -> list[str]:
    return wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False)
