"""The tables of the archive's index, and the query that lists recordings. Words of SQL and nothing else."""

from typing import Final

SCHEMA_VERSION: Final = 1
"""Rises with every change of the tables below: an older index is then made anew."""

TABLES: Final = """
CREATE TABLE about (program TEXT NOT NULL);
CREATE TABLE recordings (
    name TEXT PRIMARY KEY, size INTEGER NOT NULL, changed_ns INTEGER NOT NULL, fault TEXT NOT NULL,
    start_s REAL NOT NULL, start_text TEXT NOT NULL, machine TEXT NOT NULL, source TEXT NOT NULL,
    duration_s REAL NOT NULL, is_ended INTEGER NOT NULL,
    worst_input INTEGER, worst_material TEXT, worst_share REAL,
    alarms INTEGER NOT NULL, warnings INTEGER NOT NULL, cautions INTEGER NOT NULL
) WITHOUT ROWID;
CREATE TABLE strands (
    name TEXT NOT NULL REFERENCES recordings ON DELETE CASCADE, input INTEGER NOT NULL, material TEXT NOT NULL,
    label TEXT NOT NULL, stand_in TEXT NOT NULL, reference_c REAL NOT NULL, ea_below REAL NOT NULL,
    ea_above REAL NOT NULL, highest_dose_min REAL NOT NULL, warn_min REAL NOT NULL, limit_min REAL NOT NULL,
    longest_idle_s REAL NOT NULL, fed_mm REAL, course BLOB NOT NULL, PRIMARY KEY (name, input)
);
CREATE TABLE alerts (
    name TEXT NOT NULL REFERENCES recordings ON DELETE CASCADE, condition TEXT NOT NULL, priority INTEGER NOT NULL
);
CREATE INDEX alerts_by_name ON alerts (name);
CREATE TABLE outcomes (name TEXT PRIMARY KEY, kind TEXT NOT NULL, words TEXT NOT NULL) WITHOUT ROWID;
"""

ROWS: Final = """
SELECT r.name, r.start_text, r.machine, r.source, r.duration_s, r.is_ended, r.worst_input, r.worst_material,
       r.worst_share, r.alarms, r.warnings, r.cautions, r.fault, coalesce(o.words, '')
FROM recordings r LEFT JOIN outcomes o ON o.name = r.name
"""
