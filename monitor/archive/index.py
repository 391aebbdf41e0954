"""The index of a directory of recordings: what was found of each file, so that a list need not read them again.

SQLite from the standard library. It is a cache: keyed by size and time of change, thrown away and made anew when its
form, the program's version or the file itself is in doubt. Nothing of the owner's is kept only here.
"""

import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from contextlib import closing, suppress
from hashlib import sha256
from pathlib import Path
from types import TracebackType
from typing import NamedTuple, Self

import numpy as np
from platformdirs import user_cache_path

from monitor.archive.index_tables import ROWS, SCHEMA_VERSION, TABLES
from monitor.archive.judged import Judged, JudgedStrand, Law
from monitor.archive.outcomes import Outcome
from monitor.core.alert_types import Priority


class Stamp(NamedTuple):
    """What tells whether a file is still the one that was judged."""

    size: int
    changed_ns: int


class Row(NamedTuple):
    """One line of the list."""

    name: str
    start_text: str
    machine: str
    source: str
    duration_s: float
    is_ended: bool
    worst_input: int | None
    worst_material: str | None
    worst_share: float | None
    alarms: int
    warnings: int
    cautions: int
    fault: str
    outcome: str


class Search(NamedTuple):
    """What is looked for; None or empty: anything. Texts are found anywhere in what they are compared with."""

    machine: str = ""
    since_s: float | None = None
    alert: str = ""
    material: str = ""
    outcome: str = ""


def index_place(directory: Path) -> Path:
    """Where the index of a directory is kept: among the user's caches, never among the recordings."""
    digest = sha256(str(directory.resolve()).encode("utf-8", "surrogateescape")).hexdigest()[:16]
    return user_cache_path("strandwatch", appauthor=False) / "archive" / f"{digest}.sqlite3"


class Index:
    """An open index; a context manager.

    Parameters
    ----------
    place : Path or None
        Its file; None, or one that cannot be used, for an index in memory, which is forgotten.
    program : str
        Version of the program: another version may judge otherwise.
    """

    def __init__(self, place: Path | None, program: str) -> None:
        self.is_kept = place is not None
        """Whether the next list will find it again."""
        self._base = _opened(place, program)
        if self._base is None:
            self.is_kept = False
            self._base = _made(sqlite3.connect(":memory:"), program)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._connection.close()

    @property
    def _connection(self) -> sqlite3.Connection:
        assert self._base is not None  # noqa: S101 -- set when made
        return self._base

    def stamps(self) -> dict[str, Stamp]:
        """Files known, as they were when they were judged."""
        found = self._connection.execute("SELECT name, size, changed_ns FROM recordings")
        return {name: Stamp(size, changed_ns) for name, size, changed_ns in found}

    def forget(self, names: Iterable[str]) -> None:
        """Leave out files that are gone."""
        with self._connection:
            self._connection.executemany("DELETE FROM recordings WHERE name = ?", [(name,) for name in names])

    def put(self, judged: Judged, stamp: Stamp) -> None:
        """Take in what was found of a file, in place of what was known of it."""
        try:
            self._put(judged, stamp)
        except (
            sqlite3.DataError,
            sqlite3.IntegrityError,
            OverflowError,
            UnicodeError,
        ):  # no number, or too large a one
            self._put(Judged(judged.name, "could not be judged: it leads to values that are no numbers"), stamp)

    def _put(self, judged: Judged, stamp: Stamp) -> None:
        with self._connection:
            self._connection.execute("DELETE FROM recordings WHERE name = ?", (judged.name,))
            self._insert("recordings", [_recording_row(judged, stamp)])
            self._insert("strands", [_strand_row(judged.name, strand) for strand in judged.strands])
            self._insert("alerts", [(judged.name, condition, int(highest)) for condition, highest in judged.alerts])

    def put_outcomes(self, outcomes: Mapping[str, Outcome]) -> None:
        """Take in the owner's marks, all of them, in place of those before."""
        with self._connection:
            self._connection.execute("DELETE FROM outcomes")
            self._insert("outcomes", [(name, mark.kind, mark.words) for name, mark in outcomes.items()])

    def find(self, search: Search) -> list[Row]:
        """Recordings that fit, the oldest first; those of unknown age before them."""
        where, values = _where(search)
        found = self._connection.execute(f"{ROWS}{where} ORDER BY r.start_s, r.name", values)
        return [Row(*row) for row in found]

    def strands(self, name: str) -> list[JudgedStrand]:
        """Strands of a recording, with their courses."""
        found = self._connection.execute(
            "SELECT input, material, label, stand_in, reference_c, ea_below, ea_above, highest_dose_min, warn_min,"
            " limit_min, longest_idle_s, fed_mm, course FROM strands WHERE name = ? ORDER BY input",
            (name,),
        )
        return [_strand_of(row) for row in found]

    def _insert(self, table: str, rows: Sequence[tuple[object, ...]]) -> None:
        if rows:
            places = ", ".join("?" * len(rows[0]))
            self._connection.executemany(f"INSERT INTO {table} VALUES ({places})", rows)  # noqa: S608 -- own text


def _opened(place: Path | None, program: str) -> sqlite3.Connection | None:
    """The index in a file, made anew when it is not as it should be; None when there can be none."""
    if place is None:
        return None
    with suppress(OSError, sqlite3.Error):
        place.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        if not _is_sound(place, program):
            for ending in ("", "-journal", "-wal", "-shm"):
                place.with_name(place.name + ending).unlink(missing_ok=True)
            with closing(sqlite3.connect(place)) as fresh:
                _made(fresh, program)
        connection = sqlite3.connect(place, timeout=30.0)
        connection.execute("PRAGMA synchronous = OFF")  # a cache that is checked when it is opened
        connection.execute("PRAGMA foreign_keys = ON")
        return connection
    return None


def _is_sound(place: Path, program: str) -> bool:
    if not place.exists():
        return False
    with suppress(sqlite3.Error), closing(sqlite3.connect(f"{place.as_uri()}?mode=ro", uri=True)) as base:
        (version,) = base.execute("PRAGMA user_version").fetchone()
        if version != SCHEMA_VERSION:
            return False
        (written_by,) = base.execute("SELECT program FROM about").fetchone()
        (checked,) = base.execute("PRAGMA quick_check(1)").fetchone()
        return bool(written_by == program and checked == "ok")
    return False


def _made(connection: sqlite3.Connection, program: str) -> sqlite3.Connection:
    with connection:
        connection.executescript(TABLES)
        connection.execute("INSERT INTO about VALUES (?)", (program,))
        connection.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
    connection.execute("PRAGMA foreign_keys = ON")
    return connection


def _recording_row(judged: Judged, stamp: Stamp) -> tuple[object, ...]:
    worst = judged.worst
    return (
        judged.name,
        stamp.size,
        stamp.changed_ns,
        judged.fault,
        judged.start_s,
        judged.start_text,
        judged.machine,
        judged.source,
        judged.duration_s,
        int(judged.is_ended),
        None if worst is None else worst.input,
        None if worst is None else worst.material,
        None if worst is None else float(worst.share),
        *(judged.raised(priority) for priority in sorted(Priority, reverse=True)),
    )


def _strand_row(name: str, strand: JudgedStrand) -> tuple[object, ...]:
    fed_mm = None if strand.fed_mm is None else float(strand.fed_mm)
    return (
        name,
        strand.input,
        strand.material,
        strand.label,
        strand.stand_in,
        strand.law.reference_c,
        strand.law.ea_below_kj_mol,
        strand.law.ea_above_kj_mol,
        float(strand.highest_dose_min),
        strand.warn_min,
        strand.limit_min,
        float(strand.longest_idle_s),
        fed_mm,
        strand.course.astype("<f4").tobytes(),
    )


def _strand_of(row: tuple[object, ...]) -> JudgedStrand:
    number, material, label, stand_in, reference_c, below, above, dose, warn, limit, idle_s, fed_mm, course = row
    assert isinstance(course, bytes)  # noqa: S101 -- we wrote it
    law = Law(*map(_float, (reference_c, below, above)))
    return JudgedStrand(
        input=int(_float(number)),
        material=str(material),
        label=str(label),
        stand_in=str(stand_in),
        law=law,
        highest_dose_min=_float(dose),
        warn_min=_float(warn),
        limit_min=_float(limit),
        longest_idle_s=_float(idle_s),
        fed_mm=None if fed_mm is None else _float(fed_mm),
        course=np.frombuffer(course, dtype="<f4").reshape(-1, 3),
    )


def _float(value: object) -> float:
    assert isinstance(value, int | float)  # noqa: S101 -- we wrote it
    return float(value)


def _where(search: Search) -> tuple[str, list[object]]:
    """The conditions of a search. What is looked for goes in as values, never as text of the query."""
    terms: list[str] = []
    values: list[object] = []
    if search.since_s is not None:
        terms.append("r.start_s >= ?")
        values.append(search.since_s)
    for text, term in (
        (search.machine, "instr(lower(r.machine), ?)"),
        (search.outcome, "instr(lower(coalesce(o.words, 'not marked')), ?)"),
        (search.material, "EXISTS (SELECT 1 FROM strands s WHERE s.name = r.name AND instr(lower(s.material), ?))"),
        (search.alert, "EXISTS (SELECT 1 FROM alerts a WHERE a.name = r.name AND instr(lower(a.condition), ?))"),
    ):
        if text:
            terms.append(term)
            values.append(text.lower())
    return (f" WHERE {' AND '.join(terms)}" if terms else ""), values
