"""The simulated build's moves, and what drive and encoder make of them."""

from bisect import bisect_left
from itertools import pairwise
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from connectors.simulated_build import Move
from connectors.simulated_faults import CLOG_MOST, StrandFault
from connectors.simulated_feed import COUNT_MM, CYCLE_MM, PLAY_MM, StrandFeed
from connectors.simulated_machine import chance
from connectors.simulated_program import HOP_MM, PARK_MM, Piece, Runner, program
from connectors.simulated_scenarios import INPUTS, Absence, Fault, FaultKind

HOT_PATH_MM = 52.0  # cold end, heat break and manifold of the invented machine
WARM_C = 195.0


class Mean(Random):
    """Chance without chance: noise is 0, a draw from a range its middle, and no rare event happens."""

    def gauss(self, mu: float = 0.0, sigma: float = 1.0) -> float:  # noqa: ARG002 -- the base's own signature
        """Return the middle."""
        return mu

    def uniform(self, a: float, b: float) -> float:
        """Return the middle."""
        return (a + b) / 2

    def random(self) -> float:
        """Return what lets no rare event happen."""
        return 0.999


def marks(moves: list[Move], number: int, start_s: float) -> tuple[list[float], list[float]]:
    """Times at which the strand was fed further than ever, and how far."""
    now_s, fed_mm = start_s, 0.0
    times_s, highest_mm = [start_s], [0.0]
    for move in moves:
        now_s += move.time_s
        fed_mm += move.length_mm if move.input == number else 0.0
        if fed_mm > highest_mm[-1] + 1e-6:
            times_s.append(now_s)
            highest_mm.append(fed_mm)
    return times_s, highest_mm


@pytest.mark.parametrize("seed", range(25))
def test_every_strand_is_renewed_within_75_minutes(seed: int) -> None:
    """No material stays in the hot path for more than 75 min while a healthy build runs."""
    moves = list(program(chance(seed, "test"), 500.0, 34_500.0))
    end_s = 500.0 + sum(move.time_s for move in moves)
    for number in INPUTS:
        times_s, highest_mm = marks(moves, number, 500.0)
        times_s.append(end_s)  # what is in the path at the end has left it at the latest then
        for entered_s, entered_mm in zip(times_s, highest_mm, strict=False):
            left_s = times_s[bisect_left(highest_mm, entered_mm + HOT_PATH_MM)]
            assert left_s - entered_s < 75 * 60


def test_a_build_retracts_parks_primes_and_pauses() -> None:
    """Feeding is 0.5 to 4 mm/s, small retractions return in full, and a strand that has had its turn is drawn back."""
    moves = list(program(chance(4, "test"), 0.0, 10_000.0))
    speeds = [move.length_mm / move.time_s for move in moves if move.length_mm > PARK_MM]
    assert 0.5 <= min(speeds) < 0.7
    assert 3.5 < max(speeds) <= 4.0
    drawn = [move.length_mm for move in moves if move.length_mm < 0]
    assert set(drawn) == {-HOP_MM, -PARK_MM}
    assert drawn.count(-HOP_MM) == sum(move.length_mm == HOP_MM for move in moves) > 50
    turns = [(old, new) for old, new in pairwise(moves) if old.input != new.input]
    assert len(turns) > 50
    assert all(old.length_mm == 0 and new.length_mm == PARK_MM for old, new in turns)


def test_an_absent_strand_stands_still() -> None:
    """From the end of its turn on an absent strand is not moved, and it comes first when it is back."""
    moves = list(program(chance(9, "test"), 0.0, 20_000.0, [Absence(4, 1_500.0, 15_000.0)]))
    starts_s, now_s = [], 0.0
    for old, new in pairwise(moves):
        now_s += old.time_s
        if new.input == 4 != old.input:
            starts_s.append(now_s)
    assert not [start for start in starts_s if 1_500 <= start < 15_000]
    assert min(start for start in starts_s if start >= 15_000) < 15_400


@given(steps_s=st.lists(st.floats(0.01, 30.0), min_size=1, max_size=60))
def test_steps_of_time_do_not_change_what_is_moved(steps_s: list[float]) -> None:
    """However time is cut, the pieces add up to the moves, and progress to the time gone by."""
    moves = [Move(1, 4.0, 1.0), Move(1, 10.0, 4.0), Move(1, -0.8, 0.05), Move(1, 0.0, 6.0), Move(2, 5.0, 9.0)]
    runner = Runner(moves)
    fed_mm = {1: 0.0, 2: 0.0}
    for step_s in steps_s:
        for piece in runner.pieces(step_s):
            fed_mm[piece.input] += piece.length_mm
    gone_s = sum(steps_s)
    wanted = {1: 0.0, 2: 0.0}
    for move in moves:
        done = min(1.0, max(0.0, gone_s / move.time_s))
        wanted[move.input] += move.length_mm * done
        gone_s = max(0.0, gone_s - move.time_s)
    assert fed_mm == pytest.approx(wanted, abs=1e-6)
    assert runner.progress == pytest.approx(min(1.0, sum(steps_s) / 20.05), abs=1e-6)


def push(
    feed: StrandFeed, length_mm: float, speed_mm_s: float = 2.0, at_c: float = WARM_C, time_s: float = 100.0
) -> float:
    """Feed `length_mm` in pieces of half a millimetre; return what reached the melt."""
    count = max(1, round(abs(length_mm) / 0.5))
    piece = Piece(3, length_mm / count, speed_mm_s if length_mm > 0 else -25.0, under_way=False)
    return sum(feed.move(piece, at_c, time_s) for _ in range(count))


def still_feed(kind: FaultKind | None = None) -> StrandFeed:
    mean = Mean()
    fault = None if kind is None else StrandFault(Fault(kind, onset_s=50.0, input=3), mean)
    return StrandFeed(3, mean, mean, fault)


def test_a_healthy_encoder_follows_within_its_errors() -> None:
    """After metres of healthy feed the encoder differs by scale, elastic and random slip only, and by whole counts."""
    for seed in range(6):
        random = chance(seed, "test")
        feed = StrandFeed(3, random, random)
        assert push(feed, 3_000.0) == pytest.approx(3_000.0)
        assert feed.commanded_mm == pytest.approx(3_000.0)
        slip = 1 - feed.encoder_mm() / 3_000.0
        assert -0.01 - 0.003 < slip < 0.01 + 0.004 + 0.003
        assert feed.encoder_mm() / COUNT_MM == pytest.approx(round(feed.encoder_mm() / COUNT_MM))


def test_play_hides_small_reversals() -> None:
    """A reversal smaller than the play does not reach the encoder, a greater one less the play."""
    feed = still_feed()
    push(feed, 100.0)
    before_mm = feed.encoder_mm()
    feed.move(Piece(3, -PLAY_MM * 0.9, -25.0, under_way=False), WARM_C, 0.0)
    assert before_mm - COUNT_MM <= feed.encoder_mm() <= before_mm
    feed.move(Piece(3, -0.8, -25.0, under_way=False), WARM_C, 0.0)
    assert before_mm - feed.encoder_mm() == pytest.approx(0.8 - 0.1 * PLAY_MM, abs=COUNT_MM + 0.01)


def test_a_moving_strand_is_read_late() -> None:
    """While the strand moves the encoder reading is some hundredths of a second old."""
    feed = still_feed()
    feed.move(Piece(3, 50.0, 4.0, under_way=True), WARM_C, 0.0)
    moving_mm = feed.encoder_mm()
    feed.move(Piece(3, 0.001, 4.0, under_way=False), WARM_C, 0.0)
    assert feed.encoder_mm() - moving_mm == pytest.approx(4.0 * 0.06, abs=COUNT_MM)


def test_lateness_never_shows_a_place_the_strand_has_not_been() -> None:
    """A withdrawal that has just begun is read late, but not as a push."""
    feed = still_feed()
    push(feed, 100.0)
    before_mm = feed.encoder_mm()
    feed.move(Piece(3, -0.25, -25.0, under_way=True), WARM_C, 0.0)
    assert before_mm - 0.25 - COUNT_MM <= feed.encoder_mm() <= before_mm


def cold_slip(speed_mm_s: float, at_c: float) -> float:
    return 1 - push(still_feed(), 200.0, speed_mm_s, at_c) / 200.0


def test_skipping_rises_with_flow_and_falls_with_temperature() -> None:
    """Cold skipping has its known signature (common practice, no source); at the set point there is none at all."""
    assert cold_slip(4.0, WARM_C) == 0.0
    by_speed = [cold_slip(speed, WARM_C - 25) for speed in (1.0, 2.0, 3.0, 3.5, 4.0)]
    assert by_speed[0] == 0.0
    assert by_speed[2] < by_speed[3] < by_speed[4]
    by_warmth = [cold_slip(4.0, WARM_C - below) for below in (15, 20, 25, 30)]
    assert by_warmth == sorted(by_warmth)
    assert 0 < by_warmth[1] < by_warmth[3] < 0.6


def test_skips_are_whole_electrical_cycles() -> None:
    """A skipping drive loses jumps of one cycle: between jumps the strand follows."""
    feed, steady = still_feed(), still_feed()
    jumps_mm = []
    lag_mm = 0.0
    for _ in range(400):
        piece = Piece(3, 0.25, 4.0, under_way=False)
        feed.move(piece, WARM_C - 25, 0.0)
        steady.move(piece, WARM_C, 0.0)
        now_mm = steady._driven_mm - feed._driven_mm
        if now_mm - lag_mm > 1e-9:
            jumps_mm.append(now_mm - lag_mm)
        lag_mm = now_mm
    assert len(jumps_mm) > 20
    assert jumps_mm == pytest.approx([CYCLE_MM] * len(jumps_mm))


def sensed_share(feed: StrandFeed, length_mm: float) -> float:
    before_mm = feed.encoder_mm()
    push(feed, length_mm)
    return (feed.encoder_mm() - before_mm) / length_mm


@pytest.mark.parametrize("kind", [FaultKind.JAM, FaultKind.GRIND, FaultKind.CLOG, FaultKind.RUN_OUT, FaultKind.TANGLE])
def test_a_fault_waits_for_its_onset(kind: FaultKind) -> None:
    """Before its onset a strand with a fault feeds like one without."""
    feed, healthy = still_feed(kind), still_feed()
    push(feed, 50.0, time_s=49.0)
    push(healthy, 50.0, time_s=49.0)
    assert feed.encoder_mm() == healthy.encoder_mm()


def test_run_out_stops_the_encoder_in_both_directions() -> None:
    """Past the end of the strand the encoder moves no more, while the tail still feeds and is then gone."""
    feed = still_feed(FaultKind.RUN_OUT)
    push(feed, 50.0, time_s=0.0)
    before_mm = feed.encoder_mm()
    assert push(feed, 40.0) > 39
    assert push(feed, -0.8) == 0.0
    assert push(feed, 100.8) < 25
    assert feed.encoder_mm() == before_mm


def test_grinding_leaves_almost_nothing_and_no_stall() -> None:
    """A grinding drive turns freely: little motion, irregular, no stall reported, nothing into the melt."""
    random = chance(1, "test")
    feed = StrandFeed(3, Mean(), random, StrandFault(Fault(FaultKind.GRIND, 50.0, input=3), random))
    sensed_share(feed, 6.0)  # the groove is cut
    shares = [sensed_share(feed, 10.0) for _ in range(12)]
    assert max(shares) < 0.2
    assert len(set(shares)) > 4
    assert not feed.stalled


def test_a_jam_bites_after_some_millimetres_with_stalls() -> None:
    """A jam is felt within 10 mm after the strand is taken up again; its drive skips and sometimes says so."""
    random = chance(2, "test")
    feed = StrandFeed(3, Mean(), random, StrandFault(Fault(FaultKind.JAM, 50.0, input=3), random))
    push(feed, 10.5)
    assert sensed_share(feed, 20.0) < 0.4
    assert feed.stalled


def test_a_clog_grows_with_what_is_fed() -> None:
    """Slip of a clogging channel grows slowly and steadily, up to a bound."""
    feed = still_feed(FaultKind.CLOG)
    shares = [sensed_share(feed, 1_000.0) for _ in range(14)]
    assert shares[0] > 0.95
    assert all(later < earlier for earlier, later in pairwise(shares[:10]))
    assert shares[-1] == pytest.approx((1 - CLOG_MOST) * 0.996, abs=0.01)


def test_a_tangle_draws_tight_and_then_skips() -> None:
    """Within 20 mm a tangled strand draws tight; then the drive skips, stalls are told, and withdrawals still show."""
    random = chance(3, "test")
    feed = StrandFeed(3, Mean(), random, StrandFault(Fault(FaultKind.TANGLE, 50.0, input=3), random))
    first = sensed_share(feed, 3.0)
    push(feed, 20.0)
    assert first > sensed_share(feed, 30.0) + 0.3
    assert sensed_share(feed, 30.0) < 0.15
    assert feed.stalled
    before_mm = feed.encoder_mm()
    feed.move(Piece(3, -0.8, -25.0, under_way=False), WARM_C, 100.0)
    assert before_mm - feed.encoder_mm() > 0.4


def test_a_narrowing_channel_holds_fast_feed_back_first() -> None:
    """After some metres a fast stretch skips while a slow one does not; before, neither does."""
    slips = {}
    for speed_mm_s in (1.0, 4.0):
        feed = still_feed(FaultKind.NARROWING)
        early = 1 - push(feed, 400.0, speed_mm_s) / 400.0
        push(feed, 3_600.0, 1.0)
        slips[speed_mm_s] = (early, 1 - push(feed, 200.0, speed_mm_s) / 200.0)
    assert slips[1.0] == (0.0, 0.0)
    assert slips[4.0][0] == 0.0
    assert 0.1 < slips[4.0][1] < 0.4


@given(severity=st.floats(0.05, 3.0), kind=st.sampled_from([FaultKind.JAM, FaultKind.GRIND, FaultKind.TANGLE]))
def test_severity_scales_what_a_failing_drive_loses(severity: float, kind: FaultKind) -> None:
    """Loss is the usual one times the severity, and never more than all."""
    mean = Mean()
    shares = []
    for size in (1.0, severity):
        fault = StrandFault(Fault(kind, 50.0, input=3, severity=size), mean)
        fault.loss(0.5, 0.5, 100.0)
        loss = fault.loss(0.5, 50.0, 100.0)
        shares.append(loss.smooth + loss.skipped)
    assert shares[1] == pytest.approx(min(1.0, severity * shares[0]))
