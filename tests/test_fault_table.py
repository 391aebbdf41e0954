"""The table of faults itself: every test it names is there, and a row that fails shows."""

import ast
from pathlib import Path

from tests.fault_table import ROWS, Row, node, table

_TESTS = Path(__file__).parent


def _names(path: Path) -> set[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return {each.name for each in ast.walk(tree) if isinstance(each, ast.FunctionDef | ast.AsyncFunctionDef)}


def test_every_test_that_a_row_names_exists() -> None:
    """A renamed test must not quietly leave the table."""
    for row in ROWS:
        assert row.tests
        for test in row.tests:
            file, *_, name = node(test).partition("[")[0].split("::")
            assert name in _names(_TESTS.parent / file), test


def test_each_fault_stands_once() -> None:
    """Two rows of one name would hide each other's outcome."""
    assert len({row.fault for row in ROWS}) == len(ROWS)


def test_a_row_that_does_not_pass_shows() -> None:
    """The table says so, and counts."""
    rows = [Row("a", "b", ("x::y",)), Row("c", "d", ("x::z",))]
    assert list(table(rows, {"a": True, "c": False})) == ["a  b  passed", "c  d  NOT PASSED", "1 of 2 rows passed"]
