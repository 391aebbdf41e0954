"""Stall evidence of one input: what is found, after how much feed, and what it is called."""

from collections.abc import Callable

import pytest

from monitor.core.stall import (
    Detector,
    FeedReading,
    StallLaw,
    StallPattern,
    StallState,
    advance_stall,
    finding,
    initial_stall,
)
from tests.strand_examples import Strand, law_of, watch

LEARNED_MM = 700.0
RIGS = [(0.1, 0.25), (1.0, 0.5), (3.0, 0.5), (3.0, 1.0), (0.1, 1.0)]


def _learned(strand: Strand, law: StallLaw) -> StallState:
    state = watch(law, None, strand.feed(LEARNED_MM))
    assert state.ledger is not None
    assert state.ledger.baseline.is_frozen
    assert finding(law, state) is None
    return state


def _feed_until_alarm(
    strand: Strand, law: StallLaw, state: StallState, slip: Callable[[float], float] | float, within_mm: float
) -> tuple[StallState, float]:
    begun_mm = strand.fed_mm
    for reading in strand.feed(within_mm, slip):
        state = advance_stall(law, state, reading)
        if finding(law, state) is not None:
            return state, strand.fed_mm - begun_mm
    raise AssertionError(f"no alarm within {within_mm} mm")


@pytest.mark.parametrize(("count_mm", "period_s"), RIGS)
@pytest.mark.parametrize("healthy_slip", [0.02, -0.03])
def test_healthy_feed_is_silent(count_mm: float, period_s: float, healthy_slip: float) -> None:
    """Three metres with a wheel that reads 2 % short or 3 % long, in any count and period."""
    law = law_of(count_mm, period_s)
    strand = Strand(count_mm, period_s, healthy_slip=healthy_slip)
    state = initial_stall(law)
    for reading in strand.feed(3000.0):
        state = advance_stall(law, state, reading)
        assert finding(law, state) is None


@pytest.mark.parametrize(("count_mm", "period_s"), RIGS)
def test_a_strand_that_stops_is_found_within_the_limit_over_the_slip(count_mm: float, period_s: float) -> None:
    """Delay is at most limit / (1 - allowance), two counts that round it up, and the reading that confirms it."""
    law = law_of(count_mm, period_s)
    strand = Strand(count_mm, period_s)
    state = _learned(strand, law)
    state, delay_mm = _feed_until_alarm(strand, law, state, 1.0, 60.0)
    step_mm = strand.speed_mm_s * period_s
    assert state.ledger is not None
    noise, limits = state.ledger.baseline.noise, state.ledger.baseline.limits
    assert noise is not None
    assert limits is not None
    limit_mm = noise.static_mm + noise.late_s * strand.speed_mm_s + limits.walk_mm[0]
    assert delay_mm <= limit_mm / (1.0 - limits.allowances[0]) + 2.0 * count_mm + 2.0 * step_mm
    found = finding(law, state)
    assert found is not None
    assert not found.is_final


@pytest.mark.parametrize(("slip", "detector"), [(1.0, Detector.FAST), (0.1, Detector.SLOW)])
def test_each_test_finds_its_slip(slip: float, detector: Detector) -> None:
    """Full slip is the fast test's, one tenth the slow one's."""
    law, strand = law_of(), Strand()
    state, _ = _feed_until_alarm(strand, law, _learned(strand, law), slip, 200.0)
    found = finding(law, state)
    assert found is not None
    assert found.detector is detector


def test_onset_and_loss_are_told() -> None:
    """At half slip the true onset lies within the told one, and what is told as lost is what was lost."""
    law, strand = law_of(), Strand()
    state = _learned(strand, law)
    onset_mm = strand.fed_mm
    state, _ = _feed_until_alarm(strand, law, state, 0.5, 60.0)
    state = watch(law, state, strand.feed(20.0, 0.5))
    found = finding(law, state)
    assert found is not None
    assert found.is_final
    assert found.onset_mm.low <= onset_mm <= found.onset_mm.high
    assert found.lost_mm == pytest.approx(0.5 * (strand.fed_mm - onset_mm), abs=0.3)
    assert found.slip == pytest.approx(0.5, abs=0.1)
    assert found.evidence[0] == f"{found.lost_mm:.1f} mm lost in {found.over_mm:.0f} mm"


def test_before_the_baseline_is_learned_a_stop_is_found() -> None:
    """From the first millimetres on, a strand that does not move at all is found by the fast test."""
    law, strand = law_of(), Strand()
    state = watch(law, None, strand.feed(10.0))
    state, delay_mm = _feed_until_alarm(strand, law, state, 1.0, 20.0)
    assert state.alarm is not None
    assert state.alarm.detector is Detector.FAST
    assert delay_mm < 6.0


@pytest.mark.parametrize("period_s", [0.25, 1.0])
def test_retractions_and_primes_add_nothing(period_s: float) -> None:
    """Six hundred retractions of 0.8 mm with 0.3 mm of play are silent, and so is an encoder read while drawn back."""
    law, strand = law_of(0.1, period_s), Strand(0.1, period_s)
    state = _learned(strand, law)
    for _ in range(600):
        state = watch(law, state, strand.feed(1.0))
        state = advance_stall(law, state, strand.move(-0.8, slip=0.375))
        state = advance_stall(law, state, strand.move(0.8, slip=0.375))
        assert finding(law, state) is None


def test_nothing_moved_gives_the_same_state() -> None:
    """A pause costs nothing: the very same object comes back, whatever the encoder and the temperatures say."""
    law, strand = law_of(), Strand()
    state = advance_stall(law, _learned(strand, law), strand.move(-0.8))
    for late in range(100):
        strand.time_s += 1.0
        reading = strand.reading()._replace(sensed_mm=strand.strand_mm + 0.1 * (late % 2), manifold_c=100.0)
        assert advance_stall(law, state, reading) is state


@pytest.mark.parametrize("dwell", [1, 3])
def test_an_encoder_that_shows_a_retraction_late_adds_no_loss(dwell: int) -> None:
    """Commanded feed read at the end of a retraction, the encoder just before it: what it shows next counts instead.

    At 2 Hz a retraction of 0.9 mm within one report, off a mark that no report shows, is first a gain of 0.9 mm and
    then a loss of as much. With feed standing for another report, or three, the encoder catches up, and the sums stay
    near zero.
    """
    law, strand = law_of(0.1, 0.5), Strand(0.1, 0.5, speed_mm_s=4.0)
    state = _learned(strand, law)
    for _ in range(20):
        state = watch(law, state, strand.feed(10.0))
        before_mm = strand.move(1.5).sensed_mm
        strand.time_s -= strand.period_s
        state = advance_stall(law, state, strand.move(-0.9)._replace(sensed_mm=before_mm))
        for _ in range(dwell):
            state = advance_stall(law, state, strand.move(0.0))
        for length_mm in (2.0, 2.0):
            state = advance_stall(law, state, strand.move(length_mm))
            assert finding(law, state) is None
            assert state.ledger is not None
            assert max(balance.missing.total for balance in state.ledger.balances) < 0.3


def test_a_reading_taken_on_the_way_back_adds_no_loss() -> None:
    """Commanded feed is read halfway back, the encoder before: the next report shows commanded feed lower still.

    The first reading then does not count. Had it, its gain of 0.9 mm would have set a zero that makes all that
    follows look like as much of a loss.
    """
    law, strand = law_of(0.1, 0.5), Strand(0.1, 0.5, speed_mm_s=4.0)
    state = _learned(strand, law)
    for _ in range(20):
        state = watch(law, state, strand.feed(10.0))
        ahead_mm = strand.move(2.0).sensed_mm
        strand.time_s -= strand.period_s
        state = advance_stall(law, state, strand.move(-0.9)._replace(sensed_mm=ahead_mm))
        for length_mm in (-0.4, 2.0, 2.0, 2.0):
            state = advance_stall(law, state, strand.move(length_mm))
            assert finding(law, state) is None
            assert state.ledger is not None
            assert max(balance.missing.total for balance in state.ledger.balances) < 0.3


def test_a_new_zero_in_mid_feed_forgives_the_error_of_position_once_more() -> None:
    """Withdrawn by 20 mm within a turn, a sum of one bounded error is gone: the new zero may hold as much again."""
    law, strand = law_of(), Strand()
    state = watch(law, _learned(strand, law), strand.feed(1.0, 0.6))
    assert state.ledger is not None
    assert state.ledger.balances[0].missing.total > 0.2
    state = advance_stall(law, state, strand.move(-20.0))
    assert state.ledger is not None
    assert state.ledger.balances[0].missing.total == 0.0


def test_an_encoder_that_moves_long_after_the_feed_is_not_late() -> None:
    """What an encoder shows more than half a minute after feed has stopped replaces no reading: a new turn begins."""
    law, strand = law_of(), Strand()
    state = _learned(strand, law)
    strand.time_s += 40.0
    moved = advance_stall(law, state, strand.reading()._replace(sensed_mm=strand.strand_mm - 0.5))
    assert moved.ledger is state.ledger


@pytest.mark.parametrize("new_value_mm", [0.0, -5000.0, 70000.0])
def test_counter_that_begins_anew_is_no_loss(new_value_mm: float) -> None:
    """An encoder's counter that is set to zero, or to anything, raises nothing, and a stop after it is still found."""
    law, strand = law_of(), Strand()
    state = _learned(strand, law)
    strand.offset_mm = new_value_mm - strand.strand_mm
    state = watch(law, state, strand.feed(100.0))
    assert finding(law, state) is None
    assert state.ledger is not None
    assert state.ledger.rebased == 1
    _feed_until_alarm(strand, law, state, 1.0, 6.0)


def test_one_damaged_value_is_passed_over() -> None:
    """A single odd value raises nothing, and the loss on both sides of it still counts."""
    law, strand = law_of(), Strand()
    state = _learned(strand, law)
    state = advance_stall(law, state, strand.move(0.5)._replace(sensed_mm=3.0))
    state = watch(law, state, strand.feed(10.0))
    assert finding(law, state) is None
    assert state.ledger is not None
    assert state.ledger.rebased == 0


def test_dropped_samples_lose_nothing() -> None:
    """With two of three encoder values missing, healthy feed is silent and a stop is found all the same."""
    law, strand = law_of(), Strand()
    state = _learned(strand, law)
    for number, reading in enumerate(strand.feed(300.0)):
        state = advance_stall(law, state, reading if number % 3 == 0 else reading._replace(sensed_mm=None))
        assert finding(law, state) is None
    for number, reading in enumerate(strand.feed(12.0, 1.0)):
        state = advance_stall(law, state, reading if number % 3 == 0 else reading._replace(sensed_mm=None))
    assert finding(law, state) is not None


@pytest.mark.parametrize("late_s", [0.2, 0.7])
def test_late_encoder_is_learned(late_s: float) -> None:
    """An encoder told late by a constant time swings at every change of speed; that is no loss, and a stop is found."""
    law, strand = law_of(), Strand()
    state, told = initial_stall(law), []
    for round_ in range(250):
        strand.speed_mm_s = (1.0, 4.0, 2.0)[round_ % 3]
        for reading in strand.feed(4.0, 1.0 if round_ == 249 else 0.0):
            told.append(reading)
            behind = told[max(0, len(told) - 1 - round(late_s / 0.25))]
            state = advance_stall(law, state, reading._replace(sensed_mm=behind.sensed_mm))
            assert round_ == 249 or finding(law, state) is None
        for _ in range(4):  # a travel, in which the encoder catches up
            strand.time_s += 0.25
            told.append(strand.reading())
            state = advance_stall(law, state, told[-1])
    state, _ = _feed_until_alarm(strand, law, state, 1.0, 12.0)
    assert finding(law, state) is not None


def test_a_reading_within_a_retraction_sets_no_zero() -> None:
    """Commanded feed read within a hidden retraction, encoder not: a gain of 1.3 mm is passed over, not a new zero."""
    law, strand = law_of(0.1, 0.5), Strand(0.1, 0.5)
    state = _learned(strand, law)
    for _ in range(50):
        reading = strand.move(1.0)
        state = advance_stall(
            law, state, reading._replace(fed_mm=reading.fed_mm - 0.8, sensed_mm=strand.strand_mm + 0.5)
        )
        state = watch(law, state, strand.feed(8.0))
        assert finding(law, state) is None
        assert state.ledger is not None
        assert state.ledger.balances[2].missing.total < 0.5


def test_two_readings_in_a_row_within_retractions_are_no_loss() -> None:
    """Where retractions of 1.4 mm are seen, two readings that show 1.3 mm too little, and a third that does not."""
    law, strand = law_of(0.1, 0.5), Strand(0.1, 0.5)
    state = _learned(strand, law)
    for _ in range(30):
        state = advance_stall(law, state, strand.move(-1.4))
        state = advance_stall(law, state, strand.move(1.4))
        state = watch(law, state, strand.feed(3.0))
        for _ in range(2):
            state = advance_stall(law, state, strand.move(0.5)._replace(sensed_mm=strand.strand_mm - 1.3))
        state = watch(law, state, strand.feed(3.0))
        assert finding(law, state) is None
    _feed_until_alarm(strand, law, state, 1.0, 6.0)


def test_a_zero_taken_at_a_bad_moment_is_set_anew() -> None:
    """After a change of input the first reading is 1.3 mm off: no alarm, while a strand that stands is still found."""
    law, strand = law_of(0.1, 0.5), Strand(0.1, 0.5)
    state = _learned(strand, law)
    strand.time_s += 90.0
    reading = strand.move(1.5)
    state = advance_stall(law, state, reading._replace(sensed_mm=strand.strand_mm + 1.3))
    state = watch(law, state, strand.feed(8.0))
    assert finding(law, state) is None
    strand.time_s += 90.0
    _feed_until_alarm(strand, law, state, 1.0, 8.0)


def test_slack_after_a_change_of_input_is_no_loss() -> None:
    """Half a millimetre of slack at each of 300 turns after a pause is re-zeroed, not lost."""
    law, strand = law_of(), Strand()
    state = _learned(strand, law)
    for _ in range(300):
        strand.time_s += 90.0
        strand.strand_mm -= 0.5
        state = watch(law, state, strand.feed(20.0))
        assert finding(law, state) is None


def test_change_of_input_resets_the_sums() -> None:
    """What was gathered and is within the error of position is forgotten when the strand is taken up again."""
    law, strand = law_of(), Strand()
    state = watch(law, _learned(strand, law), strand.feed(2.5, 0.25))
    assert state.ledger is not None
    assert state.ledger.balances[1].missing.total > 0.3
    strand.time_s += 60.0
    state = advance_stall(law, state, strand.move(0.5))
    assert state.ledger is not None
    assert [balance.missing.total for balance in state.ledger.balances] == [0.0, 0.0, 0.0]


def test_healthy_slip_is_learned_over_short_turns() -> None:
    """Turns of 12 mm, shorter than a window, are enough to learn from."""
    law, strand = law_of(), Strand(healthy_slip=0.02)
    state = initial_stall(law)
    for _ in range(80):
        strand.time_s += 60.0
        state = watch(law, state, strand.feed(12.0))
    assert state.ledger is not None
    assert state.ledger.baseline.is_frozen
    assert state.ledger.baseline.slip(4.8) == pytest.approx(0.02, abs=0.002)


def test_clog_is_found_over_short_turns() -> None:
    """Slip of a tenth in turns of 25 mm: what no error of position explains is carried from turn to turn."""
    law, strand = law_of(), Strand()
    state, fed_mm = _learned(strand, law), 0.0
    while finding(law, state) is None and fed_mm < 1000.0:
        strand.time_s += 60.0
        state = watch(law, state, strand.feed(25.0, 0.1))
        fed_mm += 25.0
    assert fed_mm < 300.0


def test_alarm_stands_through_a_change_of_input_and_goes_with_healthy_feed() -> None:
    """Only strand that arrives clears it, within some millimetres."""
    law, strand = law_of(), Strand()
    state, _ = _feed_until_alarm(strand, law, _learned(strand, law), 1.0, 20.0)
    strand.time_s += 90.0
    state = watch(law, state, strand.feed(3.0, 1.0))
    assert finding(law, state) is not None
    state = watch(law, state, strand.feed(20.0))
    assert finding(law, state) is None


def test_another_load_begins_anew() -> None:
    """Once the strand was drawn out, the alarm is over, and the next load's healthy slip is learned."""
    law, strand = law_of(), Strand()
    state, _ = _feed_until_alarm(strand, law, _learned(strand, law), 1.0, 20.0)
    state = advance_stall(law, state, strand.move(-200.0))
    assert finding(law, state) is None
    assert state.ledger is not None
    assert not state.ledger.baseline.is_frozen
    strand.healthy_slip = 0.04
    assert finding(law, watch(law, state, strand.feed(1500.0))) is None


def test_state_is_immutable_and_of_constant_size() -> None:
    """Going on twice from one state gives the same; ten kilometres take no more room than one metre."""
    law, strand = law_of(), Strand()
    state = _learned(strand, law)
    reading = strand.move(0.5)
    assert advance_stall(law, state, reading) == advance_stall(law, state, reading)
    size = len(repr(state))
    strand.speed_mm_s = 4.0
    assert len(repr(watch(law, state, strand.feed(10_000.0)))) < size + 400


# ---- patterns ---------------------------------------------------------------------------------------------------


def _settled(
    strand: Strand, law: StallLaw, slip: Callable[[float], float] | float, feed_mm: float = 45.0
) -> StallState:
    return watch(law, _learned(strand, law), strand.feed(feed_mm, slip))


def test_cold_skipping_is_told_by_its_temperature() -> None:
    """Half of the feed is lost with the manifold under the strand's minimum: said so, in kelvin."""
    law, strand = law_of(), Strand()
    state = _learned(strand, law)
    strand.manifold_c = 184.0
    state = watch(law, state, strand.feed(60.0))
    found = finding(law, watch(law, state, strand.feed(40.0, 0.5)))
    assert found is not None
    assert found.pattern is StallPattern.COLD_SKIPPING
    assert found.is_final
    assert "manifold 6 K under this strand's minimum of 190 °C" in found.evidence


def test_cold_skipping_rises_with_flow() -> None:
    """When only the fast stretches slip, the slip at high flow is told."""
    law, strand = law_of(), Strand()
    state = _learned(strand, law)
    strand.manifold_c = 205.0
    for _ in range(10):
        for speed_mm_s, slip in ((1.0, 0.0), (4.0, 0.6)):
            strand.speed_mm_s = speed_mm_s
            state = watch(law, state, strand.feed(8.0, slip))
    found = finding(law, state)
    assert found is not None
    assert found.pattern is StallPattern.COLD_SKIPPING
    assert "manifold 15 K below its set point" in found.evidence
    assert any("more of its feed at high flow" in sentence for sentence in found.evidence)


def test_jam_after_idle() -> None:
    """Twenty hot minutes, taken up, and it sticks after 8 mm."""
    law, strand = law_of(), Strand()
    state = _learned(strand, law)
    strand.time_s, strand.hot_idle_s = strand.time_s + 1200.0, 1200.0
    state = watch(law, state, strand.feed(8.0))
    found = finding(law, watch(law, state, strand.feed(30.0, 0.8)))
    assert found is not None
    assert found.pattern is StallPattern.JAM_AFTER_IDLE
    assert any("hot for 20 min" in sentence for sentence in found.evidence)


def test_stop_long_after_the_idle_time_is_no_jam_of_it() -> None:
    """The same strand that sticks 200 mm later is not blamed on the idle time."""
    law, strand = law_of(), Strand()
    state = _learned(strand, law)
    strand.time_s, strand.hot_idle_s = strand.time_s + 1200.0, 1200.0
    state = watch(law, state, strand.feed(200.0))
    found = finding(law, watch(law, state, strand.feed(30.0, 0.8)))
    assert found is not None
    assert found.pattern is StallPattern.STRAND_STOPPED


def test_run_out_stands_still() -> None:
    """Nothing moves in the encoder any more, and the drive does not stall."""
    strand = Strand(flag=False)
    law = law_of()
    found = finding(law, _settled(strand, law, 1.0))
    assert found is not None
    assert found.pattern is StallPattern.RUN_OUT_OR_TANGLE


def test_grinding_creeps() -> None:
    """The groove is cut over 4 mm, then 5 % still creeps; the driver, which tells flags, told none."""
    law, strand = law_of(), Strand(flag=False)
    found = finding(law, _settled(strand, law, lambda mm: 0.95 * min(1.0, mm / 4.0)))
    assert found is not None
    assert found.pattern is StallPattern.GRINDING


def test_tangle_makes_the_drive_stall() -> None:
    """A held strand with stall flags; without flags in the report the same is 'strand stopped'."""
    for flag, pattern in ((True, StallPattern.RUN_OUT_OR_TANGLE), (None, StallPattern.STRAND_STOPPED)):
        law, strand = law_of(), Strand()
        state = _learned(strand, law)
        strand.flag = flag
        found = finding(law, watch(law, state, strand.feed(50.0, lambda mm: 0.95 * min(1.0, mm / 12.0))))
        assert found is not None
        assert found.pattern is pattern


def test_a_held_strand_is_told_with_the_force_that_does_not_move_it() -> None:
    """Where the profile tells the force of the drive, the alert of a flagged stall names it; elsewhere nothing does."""
    for push_n, words in ((61.4, "which gives 61 N at most"), (None, "pulls against a held strand")):
        law, strand = law_of(push_n=push_n) if push_n is not None else law_of(), Strand()
        state = _learned(strand, law)
        strand.flag = True
        found = finding(law, watch(law, state, strand.feed(50.0, lambda mm: 0.95 * min(1.0, mm / 12.0))))
        assert found is not None
        assert any(words in sentence for sentence in found.evidence)
        assert any(" N at most" in sentence for sentence in found.evidence) == (push_n is not None)


def test_coarse_counts_do_not_tell_grinding_from_run_out() -> None:
    """With counts of 1 mm and no flags raised it is 'strand stopped'."""
    law, strand = law_of(1.0, 0.5), Strand(1.0, 0.5, flag=False)
    found = finding(law, _settled(strand, law, 1.0))
    assert found is not None
    assert found.pattern is StallPattern.STRAND_STOPPED


def test_slow_clog_grows() -> None:
    """Slip that grows 20 % per metre: found before it is 8 %, by the slow test."""
    law, strand = law_of(), Strand()
    state, delay_mm = _feed_until_alarm(strand, law, _learned(strand, law), lambda mm: 2e-4 * mm, 400.0)
    found = finding(law, watch(law, state, strand.feed(20.0, 2e-4 * delay_mm)))
    assert found is not None
    assert found.pattern is StallPattern.SLOW_CLOG
    assert found.is_final


def test_narrowing_outlet_slips_at_high_flow_alone() -> None:
    """The fast stretches slip though the manifold is at its temperature: the outlet, not the heat, is short."""
    law, strand = law_of(), Strand()
    state = _learned(strand, law)
    for _ in range(12):
        for speed_mm_s, slip in ((1.0, 0.0), (4.0, 0.4)):
            strand.speed_mm_s = speed_mm_s
            state = watch(law, state, strand.feed(8.0, slip))
    found = finding(law, state)
    assert found is not None
    assert found.pattern is StallPattern.SLOW_CLOG
    assert any("manifold is at its temperature" in sentence for sentence in found.evidence)


def test_jumps_of_a_cycle_are_told() -> None:
    """With counts of 0.02 mm and a cycle of 0.36 mm, losses of whole cycles are recognised; smooth losses are not."""
    law = law_of(0.02, 0.25, mm_per_full_step=0.09)
    for is_jumping in (True, False):
        strand = Strand(0.02)
        state = _learned(strand, law)
        for number in range(60):
            lost_mm = 0.36 * (number % 2) if is_jumping else 0.18 + 0.07 * (number % 3)
            state = advance_stall(law, state, strand.move(0.5, lost_mm / 0.5))
        found = finding(law, state)
        assert found is not None
        assert ("in jumps of 0.36 mm" in found.evidence[0]) is is_jumping


# ---- flags ------------------------------------------------------------------------------------------------------


def test_flags_alone_are_enough_where_there_is_no_encoder() -> None:
    """Three flags within 3 mm, and the idle time says which pattern."""
    law, strand = law_of(None), Strand(has_encoder=False, flag=False)
    state = watch(law, None, strand.feed(100.0))
    strand.time_s, strand.hot_idle_s = strand.time_s + 900.0, 900.0
    state = watch(law, state, strand.feed(4.0))
    strand.flag = True
    state = watch(law, state, strand.feed(3.0))
    found = finding(law, state)
    assert found is not None
    assert (found.detector, found.pattern) == (Detector.FLAGS, StallPattern.JAM_AFTER_IDLE)
    assert "flagged a stall 3 times" in found.evidence[0]


def test_a_false_flag_now_and_then_is_tolerated() -> None:
    """One flag per 200 mm, up for four readings each time, says nothing; neither does a flag that goes up at rest."""
    law, strand = law_of(None), Strand(has_encoder=False, flag=False)
    state = initial_stall(law)
    for _ in range(100):
        state = watch(law, state, strand.feed(200.0))
        for number in range(8):
            strand.flag = number < 4
            state = advance_stall(law, state, strand.move(0.1))
        for _ in range(5):
            state = advance_stall(law, state, strand.reading()._replace(stall_flag=True))
        assert finding(law, state) is None


def test_flags_do_not_overrule_an_encoder_that_sees_the_strand_move() -> None:
    """Where the encoder sees all of the feed arrive, flags raise nothing."""
    law, strand = law_of(), Strand()
    state = _learned(strand, law)
    strand.flag = True
    assert finding(law, watch(law, state, strand.feed(100.0))) is None


def test_flag_alarm_goes_with_feed_without_flags() -> None:
    """It clears once enough was fed without another flag."""
    law, strand = law_of(None), Strand(has_encoder=False, flag=True)
    state = watch(law, None, strand.feed(6.0))
    assert finding(law, state) is not None
    strand.flag = False
    assert finding(law, watch(law, state, strand.feed(150.0))) is None


def test_unknown_everything() -> None:
    """An input that reports nothing but commanded feed is never judged."""
    law = law_of(None)
    state = initial_stall(law)
    for second in range(500):
        state = advance_stall(law, state, FeedReading(float(second), 2.0 * second))
    assert finding(law, state) is None
