"""What the ledger of lost millimetres must do with any feed: properties, tried on generated feeds."""

from collections.abc import Iterable

from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.core.stall_baseline import Baseline
from monitor.core.stall_law import StallLaw
from monitor.core.stall_ledger import PAUSE_S, Ledger, advance_ledger, bounded_error_mm, open_ledger
from tests.strand_examples import law_of

LAW = law_of(0.001)
CLOSE_MM = 1e-6

Move = tuple[float, float]
"""Millimetres fed, and the share of them that is lost."""

moves = st.lists(st.tuples(st.floats(0.05, 2.0), st.floats(0.0, 1.0)), min_size=1, max_size=60)


def _begun(law: StallLaw = LAW, *, is_frozen: bool = True) -> Ledger:
    ledger = open_ledger(0.0, 0.0, 0.0)
    for number in range(1, 6):
        ledger = advance_ledger(law, ledger, 0.25 * number, 0.5 * number, 0.5 * number, 0.0)
    frozen = Baseline(intercept=0.01, noise=law.noise, limits=law.limits)
    return ledger._replace(baseline=frozen) if is_frozen else ledger


def _fed(ledger: Ledger, feed: Iterable[Move], period_s: float = 0.25) -> Ledger:
    sensed_mm = ledger.sensed_mm or 0.0
    for moved_mm, lost in feed:
        sensed_mm += moved_mm * (1.0 - lost)
        ledger = advance_ledger(LAW, ledger, ledger.time_s + period_s, ledger.fed_mm + moved_mm, sensed_mm, 0.0)
    return ledger


def _sums(ledger: Ledger) -> list[float]:
    return [balance.missing.total for balance in ledger.balances]


def _are_close(one: Ledger, other: Ledger) -> bool:
    return all(abs(a - b) < CLOSE_MM for a, b in zip(_sums(one), _sums(other), strict=True))


@given(moves, st.floats(0.1, 20.0))
def test_time_does_not_matter(feed: list[Move], slower: float) -> None:
    """The same feed at another pace leaves all sums as they are: lost strand is counted per millimetre."""
    assert _are_close(_fed(_begun(), feed), _fed(_begun(), feed, 0.25 * slower))


@given(moves, st.integers(2, 5))
def test_splitting_a_step_does_not_matter(feed: list[Move], parts: int) -> None:
    """More readings of the same feed leave all sums as they are."""
    split = [(moved_mm / parts, lost) for moved_mm, lost in feed for _ in range(parts)]
    assert _are_close(_fed(_begun(), feed), _fed(_begun(), split))


@given(moves, st.integers(0, 59), st.floats(0.1, 5.0))
def test_retraction_and_return_cancel(feed: list[Move], at: int, back_mm: float) -> None:
    """Drawn back and returned anywhere, seen by the encoder in full: the sums are the same after the next step."""
    at = min(at, len(feed) - 1)
    there_and_back = [*feed[:at], (-back_mm, 0.0), (back_mm, 0.0), *feed[at:]]
    assert _are_close(_fed(_begun(), feed), _fed(_begun(), there_and_back))


@given(moves, st.integers(0, 59), st.floats(0.1, 5.0))
def test_return_within_a_step_is_passed_over_and_made_up_for(feed: list[Move], at: int, back_mm: float) -> None:
    """A reading whose predecessor was drawn back does not count by itself, but its feed does with the next."""
    at = min(at, len(feed) - 1)
    moved_mm, lost = feed[at]
    joined = [*feed[:at], (-back_mm, 0.0), (back_mm, 0.0), *feed[at:], (6.0, 0.0)]
    within = _fed(_begun(), [*feed[:at], (-back_mm, 0.0)])
    sensed_mm = (within.sensed_mm or 0.0) + moved_mm * (1.0 - lost)
    within = advance_ledger(LAW, within, within.time_s + 0.25, within.fed_mm + back_mm + moved_mm, sensed_mm, 0.0)
    within = within._replace(sensed_mm=within.sensed_mm)
    counted_mm = within.counted_mm
    after = [*feed[at + 1 :], (6.0, 0.0)]
    for later_mm, share in after:
        sensed_mm += later_mm * (1.0 - share)
        within = advance_ledger(LAW, within, within.time_s + 0.25, within.fed_mm + later_mm, sensed_mm, 0.0)
    assert within.counted_mm > counted_mm
    assert abs(within.counted_mm - _fed(_begun(), joined).counted_mm) < CLOSE_MM
    assert within.sensed_mm is not None
    assert abs(within.sensed_mm - sensed_mm) < CLOSE_MM


@given(moves)
def test_sums_are_never_negative_nor_more_than_was_fed(feed: list[Move]) -> None:
    """Nobody can lose more than was fed."""
    ledger = _begun()
    for move in feed:
        ledger = _fed(ledger, [move])
        fed_mm = ledger.high_mm - 2.5
        assert all(0.0 <= total <= fed_mm + CLOSE_MM for total in _sums(ledger))


@given(moves)
def test_before_the_baseline_is_frozen_only_the_fast_sum_moves(feed: list[Move]) -> None:
    """What healthy slip is must be known before slight slip can be judged."""
    assert _sums(_fed(_begun(is_frozen=False), feed))[1:] == [0.0, 0.0]


@given(moves, st.floats(PAUSE_S + 1.0, 1e5))
def test_change_of_input_resets(feed: list[Move], pause_s: float) -> None:
    """After a pause the sums are at zero, but for what no error of position can explain of the slow one."""
    before = _fed(_begun(), feed)
    sensed_mm = (before.sensed_mm or 0.0) - 0.4  # slack
    after = advance_ledger(LAW, before, before.time_s + pause_s, before.fed_mm + 0.5, sensed_mm, 0.0)
    fast, medium, slow = _sums(after)
    slow_before = before.balances[2]
    error_mm = bounded_error_mm(LAW, before.baseline, slow_before.peak_mm_s)
    assert (fast, medium) == (0.0, 0.0)
    assert slow == max(0.0, slow_before.missing.total - error_mm)


@given(st.lists(st.one_of(st.none(), st.floats(-1e6, 1e6)), min_size=1, max_size=40), st.floats(-2.0, 5.0))
@settings(max_examples=200)
def test_no_reading_breaks_it(sensed: list[float | None], moved_mm: float) -> None:
    """Any encoder values, missing or absurd, leave a ledger with sums that are finite and not negative."""
    ledger = _begun()
    for value in sensed:
        ledger = advance_ledger(LAW, ledger, ledger.time_s + 0.25, ledger.fed_mm + moved_mm, value, 0.0)
        assert all(0.0 <= total < 1e7 for total in _sums(ledger))
