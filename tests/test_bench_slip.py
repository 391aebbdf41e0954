"""What an attempt's readings mean, and how much strand changes a material: by hand-worked cases."""

from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.bench.attempts import Attempt, Outcome, Witness
from monitor.bench.purge import purge_lengths, purge_text
from monitor.bench.slip import (
    SKIPS_FROM,
    HotSlip,
    Lost,
    attempt_mm,
    hot_slip,
    lost,
    outcome_by_both,
    outcome_by_encoder,
    outcome_by_flags,
)
from monitor.config import demo_profile


def test_hot_slip_is_the_encoders_scale() -> None:
    """118.8 of 120 mm seen is 1 %; it errs by a count, play and the walk: (0.1 + 0.4 + 0.1 √120)/120."""
    hot = hot_slip(120.0, 118.8, 0.1)
    assert hot.share == pytest.approx(0.01)
    assert hot.error == pytest.approx((0.5 + 0.1 * sqrt(120.0)) / 120.0)


def test_loss_is_counted_beyond_the_hot_slip() -> None:
    """An encoder that reads 5 % short all along hides no loss and makes none up."""
    assert lost(20.0, 19.0, HotSlip(0.05, 0.01), 0.1).lost_mm == pytest.approx(0.0)
    assert lost(20.0, 17.0, HotSlip(0.05, 0.01), 0.1).lost_mm == pytest.approx(2.0)
    assert lost(20.0, 21.0, HotSlip(-0.1, 0.01), 0.1).lost_mm == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("lost_mm", "outcome"), [(0.0, Outcome.FED), (0.9, Outcome.FED), (2.0, Outcome.UNCLEAR), (3.1, Outcome.SKIPPED)]
)
def test_the_limit_of_loss_decides_and_its_error_withholds(lost_mm: float, outcome: Outcome) -> None:
    """25 mm may lose 2.0; within ± 1.0 of that nothing is said."""
    assert outcome_by_encoder(25.0, Lost(lost_mm, 1.0)) is outcome


def test_flags_settle_what_the_encoder_leaves_open_and_nothing_else() -> None:
    """A sure loss with a flag is a skip, no sure loss without one is none; a clear encoder is not overruled."""
    assert outcome_by_both(25.0, Lost(1.5, 1.0), 1) is Outcome.SKIPPED
    assert outcome_by_both(25.0, Lost(1.2, 1.3), 0) is Outcome.FED
    assert outcome_by_both(25.0, Lost(1.5, 1.0), 0) is Outcome.UNCLEAR
    assert outcome_by_both(25.0, Lost(1.2, 1.3), 2) is Outcome.UNCLEAR
    assert outcome_by_both(25.0, Lost(0.0, 1.0), 5) is Outcome.FED
    assert outcome_by_both(25.0, Lost(9.0, 1.0), 0) is Outcome.SKIPPED


def test_one_flag_alone_is_no_proof() -> None:
    """Drivers flag stalls where none were."""
    assert [outcome_by_flags(flags) for flags in (0, 1, 2)] == [Outcome.FED, Outcome.UNCLEAR, Outcome.SKIPPED]


@given(st.floats(0.01, 2.0), st.floats(0.01, 2.0))
def test_a_coarser_encoder_never_asks_for_a_shorter_feed(one_mm: float, other_mm: float) -> None:
    """And the length stays within its bounds."""
    short_mm, long_mm = (attempt_mm(count_mm, 20.0, 60.0) for count_mm in sorted((one_mm, other_mm)))
    assert 20.0 <= short_mm <= long_mm <= 60.0


def test_a_feed_is_long_enough_to_tell() -> None:
    """At the length chosen for a fine encoder the error is at most half of the limit of loss."""
    length_mm = attempt_mm(0.1, 20.0, 60.0)
    assert 0.1 + 0.4 + 0.1 * sqrt(length_mm) <= SKIPS_FROM * length_mm / 2.0


def test_slip_of_an_attempt() -> None:
    """A share of what was commanded; unknown without an encoder."""
    attempt = Attempt(1.0, 170.0, 170.0, Outcome.FED, Witness.ENCODER, fed_mm=25.0, lost_mm=0.5, error_mm=1.0)
    assert attempt.slip == pytest.approx(0.02)
    assert Attempt(1.0, 170.0, 170.0, Outcome.FED, Witness.OWNER, fed_mm=25.0).slip is None


def test_purge_lengths_by_hand() -> None:
    """Bores of 2 mm hold (2/1.75)² of their length in strand: 18 mm after the merge point, 70 mm in all."""
    lengths = purge_lengths(demo_profile().parameters)
    assert lengths.shared_mm == pytest.approx(18.0 * (2.0 / 1.75) ** 2)
    assert lengths.path_mm == pytest.approx(70.0 * (2.0 / 1.75) ** 2)
    text = purge_text(lengths)
    assert "24 mm" in text
    assert "92 mm" in text
    assert "more than a metre" in text
    assert "common practice, no source" in text
