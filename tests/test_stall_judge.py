"""The judge's own telemetry: what it says of healthy feed and of every pattern is what it claims to make."""

from itertools import pairwise

import numpy as np
import pytest

from tests.stall_judge.cases import Case, fault_case, healthy_case, without_encoder, without_flags
from tests.stall_judge.losses import Pattern
from tests.stall_judge.rigs import KINDS

FAULTS = [pattern for pattern in Pattern if pattern is not Pattern.HEALTHY]


def lost_share(case: Case, from_mm: float, to_mm: float) -> float:
    """True share of new strand lost between two marks beyond the onset."""
    fed = case.fed
    beyond_mm = fed.mark_mm - fed.onset_mm
    near = (beyond_mm > from_mm) & (beyond_mm <= to_mm)
    return float((fed.lost_share * fed.new_mm)[near].sum() / fed.new_mm[near].sum())


def sensed_share(case: Case, from_mm: float, to_mm: float) -> float:
    """Share of new strand that passed the encoder's wheel between two marks beyond the onset."""
    fed = case.fed
    first, last = np.searchsorted(fed.mark_mm, [fed.onset_mm + from_mm, fed.onset_mm + to_mm])
    return float((fed.wheel_mm[last] - fed.wheel_mm[first]) / (fed.mark_mm[last] - fed.mark_mm[first]))


@pytest.mark.parametrize("kind", KINDS)
def test_healthy_feed_loses_little(kind: str) -> None:
    """A healthy wheel misses less than 5 % of the commanded feed, nothing is lost, and hardly a flag is raised."""
    for seed in range(5):
        case = healthy_case(kind, seed, 3_000.0)
        assert case.fed.onset_mm == np.inf
        assert not case.fed.lost_share.any()
        assert 0 < 1 - case.fed.wheel_mm[-1] / case.fed.commanded_mm[-1] < 0.05
        assert sum(bool(row.stall_flag) for row in case.telemetry.rows) <= 3


def test_a_seed_repeats_and_another_does_not() -> None:
    """The same name of a case is the same case."""
    assert fault_case("fine", Pattern.TANGLE, 7).telemetry.rows == fault_case("fine", Pattern.TANGLE, 7).telemetry.rows
    assert fault_case("fine", Pattern.TANGLE, 7).telemetry.rows != fault_case("fine", Pattern.TANGLE, 8).telemetry.rows


@pytest.mark.parametrize("pattern", FAULTS)
def test_nothing_is_lost_before_the_onset(pattern: Pattern) -> None:
    """All loss lies beyond the onset, and there is loss beyond it."""
    for seed in range(10):
        fed = fault_case("coarse", pattern, seed).fed
        assert not fed.lost_share[fed.mark_mm <= fed.onset_mm].any()
        assert fed.lost_share[fed.mark_mm > fed.onset_mm].any()
        assert not (fed.skips[fed.mark_mm <= fed.onset_mm]).any()


@pytest.mark.parametrize(("pattern", "share"), [(Pattern.SLIP_50, 0.5), (Pattern.SLIP_30, 0.3), (Pattern.SLIP_10, 0.1)])
def test_constant_slip_is_what_its_name_says(pattern: Pattern, share: float) -> None:
    """Over 300 mm the wheel misses the share stated, besides the healthy slip of up to 4 %."""
    for seed in range(6):
        case = fault_case("fine", pattern, seed)
        assert lost_share(case, 0.0, 300.0) == pytest.approx(share, abs=1e-6)
        assert 1 - share - 0.05 < sensed_share(case, 0.0, 300.0) < 1 - share + 0.02


def test_run_out_stops_the_wheel_either_way() -> None:
    """Beyond the end of the strand the wheel does not turn at all; the melt still gets the tail."""
    for seed in range(6):
        case = fault_case("fine", Pattern.RUN_OUT, seed)
        fed = case.fed
        past = fed.wheel_mm[fed.mark_mm > fed.onset_mm + 1.0]
        assert np.ptp(past) == 0.0
        tail = (fed.mark_mm > fed.onset_mm) & (fed.mark_mm < fed.onset_mm + 14.0) & (fed.new_mm > 0)
        assert (fed.melt_flow[tail] > 0).all()


def test_cold_skipping_rises_with_flow_and_wants_a_cold_wall() -> None:
    """Beyond the onset only flows above a limit lose, and the wall is below the strand's least temperature."""
    for seed in range(10):
        case = fault_case("fine", Pattern.COLD, seed)
        fed, rows = case.fed, case.telemetry.rows
        losing, keeping = fed.melt_flow[fed.lost_share > 0], fed.lost_share == 0
        late = keeping & (fed.new_mm > 0) & (fed.mark_mm > fed.onset_mm + 300.0)
        if late.any():
            assert losing.min() > 0.8 * fed.melt_flow[late].max()
        wall_c = [row.manifold_c for row in rows if row.time_s > fed.onset_s and row.manifold_c is not None]
        assert min(wall_c) < case.rig.least_c


def test_a_jam_follows_a_long_stand() -> None:
    """The strand stood hot for 20 minutes or longer, and jams within 15 mm of being taken up."""
    for seed in range(10):
        fed = fault_case("fine", Pattern.JAM, seed).fed
        taken_up = np.searchsorted(fed.idle_from_s, fed.onset_s) - 1
        assert fed.idle_s[taken_up] >= 1_200
        index = np.searchsorted(fed.time_s, fed.idle_from_s[taken_up])
        assert fed.onset_mm - fed.mark_mm[index] <= 15.1


@pytest.mark.parametrize("pattern", [Pattern.DRAG_CLOG_20, Pattern.CAPACITY_CLOG])
def test_a_clog_grows(pattern: Pattern) -> None:
    """Its loss grows with what is fed."""
    for seed in range(6):
        case = fault_case("fine", pattern, seed)
        assert lost_share(case, 0.0, 300.0) < lost_share(case, 900.0, 1_400.0)


def test_twenty_percent_per_metre() -> None:
    """A clog of 20 % per metre has lost 25 mm in the first half metre: 0.2 per m · (500 mm)² / 2."""
    case = fault_case("fine", Pattern.DRAG_CLOG_20, 0)
    assert lost_share(case, 0.0, 500.0) * 500 == pytest.approx(25.0, abs=0.5)


def test_skips_are_whole_cycles_and_raise_flags() -> None:
    """Jams skip, and a good part of samples with skips carry a flag; grinding raises none beyond false ones."""
    jam, grinding = fault_case("fine", Pattern.JAM, 1), fault_case("fine", Pattern.GRINDING, 1)
    assert (jam.fed.skips == np.round(jam.fed.skips)).all()
    assert sum(bool(row.stall_flag) for row in jam.telemetry.rows) > 20
    assert not grinding.fed.skips.any()
    assert sum(bool(row.stall_flag) for row in grinding.telemetry.rows) <= 2


@pytest.mark.parametrize(("kind", "count_mm"), [("fine", 0.1), ("coarse", 1.0), ("3 mm", 3.0)])
def test_reports_are_late_whole_counts_in_order_of_time(kind: str, count_mm: float) -> None:
    """Sensed feed comes in whole counts and follows commanded feed within the rig's errors; time never runs back."""
    case = healthy_case(kind, 3, 2_000.0)
    rows = case.telemetry.rows
    assert all(later.time_s > earlier.time_s for earlier, later in pairwise(rows))
    sensed = [row.sensed_mm for row in rows if row.sensed_mm is not None]
    assert all(abs(value / count_mm - round(value / count_mm)) < 1e-6 for value in sensed)
    assert len(sensed) > 0.4 * len(rows)


def test_ablations_take_away_one_column() -> None:
    """Without an encoder, or without flags, all else stays as it was."""
    told = fault_case("fine", Pattern.TANGLE, 2).telemetry
    assert {row.sensed_mm for row in without_encoder(told).rows} == {None}
    assert [row.fed_mm for row in without_encoder(told).rows] == [row.fed_mm for row in told.rows]
    assert {row.stall_flag for row in without_flags(told).rows} == {None}
    assert [row.sensed_mm for row in without_flags(told).rows] == [row.sensed_mm for row in told.rows]
