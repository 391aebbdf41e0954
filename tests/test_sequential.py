"""What every sequential test must do, whichever it is: one suite for all."""

from itertools import accumulate
from typing import Any, Protocol

import pytest

from tests.ewma import Ewma
from tests.tabular_cusum import Cusum


class Sequential(Protocol):
    """The interface of tabular_cusum.py and ewma.py; each has a state of its own type."""

    def initial(self) -> Any:  # noqa: ANN401 - the suite passes states on and never looks into them
        """State before the first value."""

    def advance(self, state: Any, value: float, weight: float = 1.0) -> Any:  # noqa: ANN401 - as above
        """State after a value."""

    def is_signal(self, state: Any) -> bool:  # noqa: ANN401 - as above
        """Whether it signals."""
        raise NotImplementedError


TESTS = [
    pytest.param(Cusum(mean=10.0, allowance=0.5, limit=4.0), id="cusum"),
    pytest.param(Cusum(mean=10.0, allowance=0.5, limit=4.0, head_start=2.0), id="cusum with head start"),
    pytest.param(Ewma(mean=10.0, sd=1.0, gain=0.2, width=2.962), id="ewma"),
]


def _signals(test: Sequential, values: list[float]) -> list[bool]:
    return [test.is_signal(state) for state in accumulate(values, test.advance, initial=test.initial())][1:]


@pytest.mark.parametrize("test", TESTS)
def test_is_silent_at_the_start_and_at_the_mean(test: Sequential) -> None:
    """Values at the mean never signal, and neither does the start."""
    assert not test.is_signal(test.initial())
    assert not any(_signals(test, [10.0] * 200))


@pytest.mark.parametrize("test", TESTS)
def test_finds_a_lasting_shift_and_sooner_the_larger_it_is(test: Sequential) -> None:
    """A shift of 1, 2 and 4 standard deviations is found, each sooner than the one before."""
    first = [_signals(test, [10.0 + shift] * 100).index(True) for shift in (1.0, 2.0, 4.0)]
    assert first == sorted(first, reverse=True)
    assert first[0] > first[2]


@pytest.mark.parametrize("test", TESTS)
def test_forgets_a_shift_that_has_gone(test: Sequential) -> None:
    """After a shift that is over it comes back to silence."""
    assert not _signals(test, [12.0] * 3 + [10.0] * 60)[-1]


@pytest.mark.parametrize("test", TESTS)
def test_a_state_is_not_changed_by_going_on(test: Sequential) -> None:
    """An old state gives the same result however often one goes on from it."""
    state = test.advance(test.initial(), 11.0)
    first = test.advance(state, 13.0)
    test.advance(state, 5.0)
    assert test.advance(state, 13.0) == first


@pytest.mark.parametrize("test", TESTS)
def test_a_value_split_in_two_equal_parts_is_the_same_value(test: Sequential) -> None:
    """A weight is what a value stands for: two halves of it give the same state, above and below the mean."""
    for value in (13.0, 9.0):
        begun = test.advance(test.initial(), 14.0)
        whole = test.advance(begun, value)
        halves = test.advance(test.advance(begun, value / 2.0, 0.5), value / 2.0, 0.5)
        assert halves == pytest.approx(whole)
