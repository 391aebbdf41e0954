"""What `python -m tests.benchmark --check` refuses: ratios and counts more than twice off, never a time."""

import math

import pytest

from tests.benchmark import short, whole
from tests.benchmarks.figures import Figure, Measured, count, far_off, lines, measured, of_this_machine, ratio

MOST = ratio("judging", "a bare loop", at_most=6.0)
LEAST = ratio("speed", "splitting", at_least=1.6)


@pytest.mark.parametrize(
    ("figure", "value", "is_far_off", "verdict"),
    [
        (MOST, 6.0, False, "met"),
        (MOST, 6.1, False, "missed"),
        (MOST, 12.0, False, "missed"),
        (MOST, 12.1, True, "MORE THAN TWICE OFF"),
        (MOST, math.nan, True, "MORE THAN TWICE OFF"),
        (LEAST, 1.6, False, "met"),
        (LEAST, 0.81, False, "missed"),
        (LEAST, 0.79, True, "MORE THAN TWICE OFF"),
        (LEAST, 0.0, True, "MORE THAN TWICE OFF"),
        (count("false alarms", "alarms", at_most=0.0), 0.0, False, "met"),
        (count("false alarms", "alarms", at_most=0.0), 1.0, True, "MORE THAN TWICE OFF"),
        (of_this_machine("from start to first frame", "s", at_most=1.0), 30.0, False, "missed"),
        (ratio("unbounded", "anything"), 1e9, False, ""),
    ],
)
def test_what_is_far_off(figure: Figure, value: float, is_far_off: bool, verdict: str) -> None:  # noqa: FBT001 -- a case
    """Beyond twice the bound fails, up to that it is told as missed; a time is told and never fails."""
    row = Measured(figure, value)
    assert figure.is_far_off(value) is is_far_off
    assert row.verdict == verdict
    assert bool(far_off({"section": [row]})) is is_far_off


def test_the_table_names_value_bound_and_comparison() -> None:
    """A row shows what was found, its bound, what it is compared to, and how it stands."""
    text = "\n".join(lines({"judging": measured([MOST, LEAST], {"judging": 4.567, "speed": 2.0})}))
    row = next(line for line in text.splitlines() if line.startswith("  judging"))
    assert row.split() == ["judging", "4.57", "≤", "6", "a", "bare", "loop", "met"]
    assert "≥ 1.6" in text


def test_a_value_without_its_figure_is_a_mistake() -> None:
    """A module that measures something else than it states is found out, not left out."""
    with pytest.raises(ValueError, match="states"):
        measured([MOST], {"judging": 1.0, "speed": 2.0})


@pytest.mark.parametrize("sections", [short, whole])
def test_every_section_has_a_checked_bound(sections: object) -> None:
    """Names are unique within a module, and every module states at least one bound that a check holds."""
    assert callable(sections)
    for section in sections():
        names = [figure.name for figure in section.figures]
        assert len(set(names)) == len(names), section.title
        assert any(figure.is_far_off(math.nan) for figure in section.figures), section.title
