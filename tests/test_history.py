"""The history of a watch: nothing that was taken is lost at any zoom, what was not known is a gap, memory is bounded.

The facts held here are our own; there is no outside reference for them.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from connectors.simulated_machine import simulate
from connectors.simulated_scenarios import SCENARIOS
from monitor.config import demo_profile
from monitor.core.assessment import Activity, Assessment, Quality, SharedReading, WallReading, ZonePlace
from monitor.core.engine import run
from monitor.core.stall_findings import FlowSlip
from monitor.history.channels import Limit, channels_of, readings_of, values_of
from monitor.history.level import Size
from monitor.history.memory import HELD_S, MOST_CHANNELS, SIZES, History, Piece
from monitor.history.slip import OVER_MM, SlipMeter
from monitor.history.trend import Trend
from tests.watch_examples import ASSESSMENT, STRAND

SMALL = (Size(4.0, 20), Size(30.0, 20), Size(240.0, 20))
"""Levels that are soon full."""

MANIFOLD = ASSESSMENT.walls[0]
STEPS = st.lists(st.sampled_from([0.0, 0.5, 1.0, 4.0, 7.0, 30.0, 90.0, 400.0, 5000.0]), min_size=1, max_size=60)
READINGS = st.floats(-1e6, 1e6, width=32) | st.just(math.nan) | st.just(math.inf)


def at(time_s: float, temp_c: float | None = 195.0, quality: Quality = Quality.GOOD) -> Assessment:
    """A moment with one wall and one strand."""
    wall = replace(MANIFOLD, temp_c=temp_c, quality=quality)
    strand = replace(STRAND, quality=quality)
    return replace(ASSESSMENT, time_s=time_s, quality=quality, walls=(wall,), strands=(strand,))


def fed(moments: Sequence[tuple[float, float]], sizes: Sequence[Size] = SIZES) -> History:
    """History of one curve."""
    history = History(sizes)
    for time_s, value in moments:
        history.take_readings(time_s, {"a": value})
    return history


def known(trend: Trend) -> list[bool]:
    return list(map(bool, trend.known))


def same(one: Trend, other: Trend) -> None:
    for part in ("low", "high", "last", "known"):
        np.testing.assert_array_equal(getattr(one, part), getattr(other, part))


@st.composite
def moments(draw: st.DrawFn) -> list[tuple[float, float]]:
    """Moments in order of time, now close together, now far apart."""
    times_s = np.cumsum(draw(STEPS))
    return [(float(time_s), draw(READINGS)) for time_s in times_s]


@settings(max_examples=60, deadline=None)
@given(moments(), st.integers(1, 50), st.data())
def test_a_trend_holds_every_value_and_no_other(
    told: list[tuple[float, float]], columns: int, data: st.DataObject
) -> None:
    """Of the span that is kept, each value is within low and high of its column, and lies in some column's ends."""
    history = fed(told)
    begin_s = data.draw(st.floats(-100.0, told[-1][0]))
    end_s = data.draw(st.floats(begin_s, told[-1][0] + 1000.0))
    trend = history.trend("a", begin_s, end_s, columns)
    assert len(trend.low) == len(trend.high) == len(trend.last) == len(trend.known) == columns
    assert np.array_equal(trend.known, ~np.isnan(trend.low))
    assert np.array_equal(trend.known, ~np.isnan(trend.last))
    assert np.all((trend.low <= trend.last) & (trend.last <= trend.high) | ~trend.known)
    width_s = (end_s - begin_s) / columns
    for time_s, value in told:
        if math.isnan(value) or not begin_s <= time_s < end_s:
            continue
        column = min(columns - 1, int((time_s - begin_s) / width_s))
        near = slice(max(0, column - 1), column + 2)  # rounding at a column's very edge
        assert trend.known[column] or trend.known[near].any()
        assert np.nanmin(trend.low[near]) <= np.float32(value) <= np.nanmax(trend.high[near])
    values = {np.float32(value) for _, value in told if not math.isnan(value)}
    assert {*trend.low[trend.known], *trend.high[trend.known], *trend.last[trend.known]} <= values


@settings(max_examples=60, deadline=None)
@given(
    moments(),
    st.floats(allow_nan=True, allow_infinity=True),
    st.floats(allow_nan=True, allow_infinity=True),
    st.integers(-3, 200),
    st.sampled_from(["a", "b"]),
)
def test_any_span_and_any_number_of_columns_can_be_asked_for(
    told: list[tuple[float, float]], begin_s: float, end_s: float, columns: int, key: str
) -> None:
    """Whatever a screen asks, it gets as many columns as it asked for; of what nobody knows, gaps."""
    trend = fed(told, SMALL).trend(key, begin_s, end_s, columns)
    assert len(trend.known) == max(0, columns)
    assert key == "a" or not trend.known.any()
    with pytest.raises(ValueError, match="read-only"):
        trend.low[...] = 0.0


def test_a_spike_of_one_moment_is_never_lost() -> None:
    """A single value among two days of others is seen in every view that goes back to it, however coarse."""
    end_s = 48 * 3600.0
    spikes_s = [end_s - hours * 3600.0 + 100.0 for hours in (1, 3, 12, 48)]
    history = History()
    for time_s in np.arange(0.0, end_s + 1.0, 20.0):
        history.take_readings(float(time_s), {"a": 300.0 if time_s in spikes_s else 195.0})
    for spike_s, columns in product(spikes_s, (1, 2, 7, 60, 997)):
        trend = history.trend("a", spike_s - 100.0, end_s, columns)
        assert trend.known.all()
        width_s = (end_s - spike_s + 100.0) / columns
        assert trend.high[int(100.0 / width_s)] == 300.0
        # and nowhere else than around a spike: a bucket of four minutes may touch several columns
        assert (trend.high == 300.0).sum() <= len(spikes_s) * (240.0 / width_s + 2.0)


def test_times_without_trust_are_gaps() -> None:
    """Stale data, and a link that is lost so that they become stale, are not known; before and after is."""
    history = History()
    for time_s in range(0, 400, 4):
        history.take(at(time_s, quality=Quality.GOOD if not 100 <= time_s < 200 else Quality.STALE))
    for key in ("wall manifold", "dose 4"):
        assert known(history.trend(key, 0.0, 400.0, 8)) == [True, True, False, False, True, True, True, True]


def test_a_watch_that_did_not_run_leaves_a_gap_and_a_slow_machine_none() -> None:
    """A hole is one that is long against how moments have come; what comes every ten seconds has no holes."""
    slow = fed([(time_s, 1.0) for time_s in range(0, 400, 10)])
    assert slow.trend("a", 0.0, 390.0, 97).known.all()
    sparse = fed([(time_s, 1.0) for time_s in range(0, 4000, 200)])
    assert sparse.trend("a", 400.0, 3800.0, 850).known.all()
    stopped = fed([*((time_s, 1.0) for time_s in range(0, 100, 4)), *((time_s, 1.0) for time_s in range(300, 400, 4))])
    assert known(stopped.trend("a", 0.0, 400.0, 4)) == [True, False, False, True]
    begun_anew = fed([(0.0, 1.0), (4.0, 1.0), (HELD_S - 10.0, math.nan), (HELD_S, 1.0)])
    assert known(begun_anew.trend("a", 0.0, HELD_S + 4.0, 3)) == [True, False, True]


def test_what_is_held_over_a_hole_is_the_former_value() -> None:
    """Between two moments half a minute apart a value is what it was last."""
    trend = fed([(0.0, 1.0), (32.0, 5.0)]).trend("a", 0.0, 36.0, 9)
    assert list(trend.last) == [1.0] * 8 + [5.0]


def test_time_that_goes_back_or_is_none_is_left_out() -> None:
    """What is older than the newest moment changes nothing, neither does a time that never was."""
    history = fed([(100.0, 1.0)])
    before = history.trend("a", 0.0, 200.0, 50)
    for time_s in (99.0, -1.0, math.nan, math.inf, -math.inf, 1e300):
        history.take_readings(time_s, {"a": 9.0})
    history.take(at(50.0))
    same(history.trend("a", 0.0, 200.0, 50), before)
    assert history.span == (100.0, 100.0)


def test_a_curve_that_comes_later_is_kept_from_then_on() -> None:
    """A sensor that is first heard after a minute is not known before."""
    history = History()
    for time_s in range(0, 120, 4):
        history.take_readings(float(time_s), {"a": 1.0, **({"b": 2.0} if time_s >= 60 else {})})
    assert known(history.trend("b", 0.0, 120.0, 2)) == [False, True]
    assert history.trend("a", 0.0, 120.0, 2).known.all()
    assert history.keys == ("a", "b")


def test_memory_is_bounded() -> None:
    """Six inputs take less than 6 MiB, a week more takes nothing more, and the number of curves is bounded."""
    history = History()
    steps = list(run(simulate(SCENARIOS["left-idle"], 1, 4.0, 400.0), demo_profile().parameters))
    for step in steps[::10]:
        history.take(step.assessment)
    assert 0 < history.bytes < 6 * 2**20
    before, keys = history.bytes, history.keys
    readings = dict.fromkeys(keys, 1.0)
    for time_s in np.arange(2000.0, 7 * 86400.0, 400.0):
        history.take_readings(float(time_s), readings)
    assert (history.bytes, history.keys) == (before, keys)
    assert history.span is not None
    assert 4 * 86400.0 < history.span[1] - history.span[0] < 4.2 * 86400.0
    history.take_readings(7 * 86400.0, {f"invented {number}": 1.0 for number in range(2 * MOST_CHANNELS)})
    assert len(history.keys) == MOST_CHANNELS


@settings(max_examples=40, deadline=None)
@given(moments(), st.sampled_from([SMALL, SIZES]), st.booleans())
def test_the_pieces_say_it_all_in_any_order(
    told: list[tuple[float, float]],
    sizes: Sequence[Size],
    is_reversed: bool,  # noqa: FBT001 -- drawn
) -> None:
    """A history made of another's pieces gives the same trends, and the same pieces."""
    history = fed(told, sizes)
    pieces = tuple(history.pieces())
    again = History(sizes)
    for piece in reversed(pieces) if is_reversed else pieces:
        again.add_past(piece)
    assert again.span == history.span
    assert tuple(again.pieces()) == pieces
    for span_s in (40.0, 600.0, 1e5):
        same(
            again.trend("a", told[-1][0] - span_s, told[-1][0], 30),
            history.trend("a", told[-1][0] - span_s, told[-1][0], 30),
        )


def test_pieces_of_the_past_and_the_newest_moments_make_one_history() -> None:
    """Whoever joins a watch and is told its past piece by piece comes to the same trends as the watch itself."""
    watch, joined = History(), History()
    told = [(float(time_s), float(time_s % 700)) for time_s in range(0, 20_000, 4)]
    for time_s, value in told[:4000]:
        watch.take_readings(time_s, {"a": value, "b": 1.0})
    pieces = watch.pieces()
    for number, (time_s, value) in enumerate(told[4000:]):
        for history in (watch, joined):
            history.take_readings(time_s, {"a": value, "c": 2.0})
        piece = next(pieces, None) if number % 5 == 0 else None
        if piece is not None:
            joined.add_past(piece)
    for key, span_s in product("abc", (400.0, 3600.0, 20_000.0)):
        same(joined.trend(key, 20_000 - span_s, 20_000.0, 50), watch.trend(key, 20_000 - span_s, 20_000.0, 50))


def test_while_the_past_arrives_it_is_drawn_from_what_has_come() -> None:
    """The coarse levels come first, so a view of hours is whole at once, and gets finer."""
    watch, joined = fed([(float(time_s), 1.0) for time_s in range(0, 10_000, 4)]), History()
    pieces = watch.pieces()
    joined.take_readings(10_000.0, {"a": 1.0})
    for _ in range(2):
        joined.add_past(next(pieces))
        assert joined.trend("a", 6_500.0, 10_000.0, 20).known.all()
    for piece in pieces:
        joined.add_past(piece)
        assert joined.trend("a", 6_500.0, 10_000.0, 20).known.all()


def test_what_is_no_piece_is_refused() -> None:
    """Wrong lengths, other levels, too many curves or times that never were raise, and change nothing."""
    *_, good = fed([(float(time_s), 1.0) for time_s in range(0, 100, 4)]).pieces()
    history = History()
    for wrong in (
        {"width_s": 5.0},
        {"width_s": math.nan},
        {"values": good.values[:-1]},
        {"values": b""},
        {"values": good.values * 1000},
        {"keys": ()},
        {"keys": ("a", "a")},
        {"keys": tuple(map(str, range(MOST_CHANNELS + 1)))},
        {"first": 2**60},
        {"begin_s": math.nan},
        {"end_s": math.inf},
    ):
        with pytest.raises(ValueError, match=r"piece|bytes"):
            history.add_past(replace(good, **wrong))
    assert (history.span, history.keys, history.bytes) == (None, (), 0)
    history.add_past(good)
    assert history.keys == ("a",)


def test_channels_and_values_go_together() -> None:
    """Each curve has one value, in the same order, for every moment of a night; keys are told apart by their strand."""
    for step in list(run(simulate(SCENARIOS["left-idle"], 1, 4.0, 600.0), demo_profile().parameters))[::30]:
        channels, seen = channels_of(step.assessment), step.assessment
        assert [channel.key for channel in channels] == list(readings_of(seen))
        assert len(values_of(seen)) == len(channels)
    assert len({channel.title for channel in channels}) == len(channels)
    assert {channel.input for channel in channels} == {None, 1, 2, 3, 4, 5, 6}


def test_limits_are_those_of_the_newest_assessment() -> None:
    """A curve is held against its set point, and the wall at the merge point against what strands need to feed."""
    place = ZonePlace("manifold", 0.0, 16.0, "manifold", None)
    found = {it.key: it for it in channels_of(replace(ASSESSMENT, zones=(place,)))}
    assert found["wall manifold"].limits == (Limit("set", 195.0), Limit("must feed", 175.0))
    assert found["dose 4"].limits == (Limit("warn", 300.0), Limit("limit", 480.0))
    assert found["soft front 4"].limits == (Limit("limit", 30.0),)
    assert (found["dose 4"].unit, found["dose 4"].input) == ("min", 4)
    withdrawn = replace(ASSESSMENT, zones=(place,), strands=(replace(STRAND, activity=Activity.WITHDRAWN),))
    assert channels_of(withdrawn)[0].limits == (Limit("set", 195.0), Limit("must feed", None))


def test_what_is_not_there_is_not_known() -> None:
    """Of a sensor without a value, a strand that is withdrawn, and feed that is not reported nothing is told."""
    silent = WallReading("nozzle", None, None, None, Quality.BAD, 9.0)
    drawn_back = replace(STRAND, input=2, activity=Activity.WITHDRAWN, fed_mm=None)
    moment = replace(ASSESSMENT, walls=(MANIFOLD, silent), strands=(STRAND, drawn_back), shared=())
    readings = readings_of(moment)
    assert math.isnan(readings["wall nozzle"])
    assert not {"set nozzle", "duty nozzle", "feed 2", "slip 4", "shared channel"} & set(readings)
    assert [math.isnan(readings[f"dose {number}"]) for number in (4, 2)] == [False, True]
    assert readings["duty manifold"] == 30.0
    assert readings["left 4"] == 12000.0


def test_the_shared_channel_is_told_by_its_worst_strand() -> None:
    """In percent of that strand's warn dose, as its alert."""
    held = (SharedReading(1, 0.5, 9.0, 30.0, 300.0, 400.0), SharedReading(2, 0.5, 9.0, 30.0, 60.0, 90.0))
    assert readings_of(replace(ASSESSMENT, shared=held))["shared channel"] == 50.0


def test_slip_is_that_of_the_newest_feed() -> None:
    """Sums since the beginning become the slip of late; while nothing moves, nothing tells."""
    meter = SlipMeter()

    def slip(fed_mm: float, lost_mm: float, activity: Activity = Activity.FEEDING) -> float:
        told = (FlowSlip(2.0, 190.0, fed_mm, lost_mm / fed_mm),)
        return dict(meter.take(replace(ASSESSMENT, strands=(replace(STRAND, flow_slip=told, activity=activity),))))[
            "slip 4"
        ]

    assert math.isnan(slip(1000.0, 10.0))
    assert slip(1000.0 + OVER_MM, 10.0 + 0.2 * OVER_MM) == pytest.approx(20.0)
    assert slip(1001.0 + OVER_MM, 10.0 + 0.2 * OVER_MM) == pytest.approx(20.0)
    assert math.isnan(slip(1001.0 + OVER_MM, 10.0 + 0.2 * OVER_MM, Activity.IDLE))
    assert slip(1000.0 + 2 * OVER_MM, 10.0 + 0.2 * OVER_MM) == pytest.approx(0.0, abs=1e-9)


def test_what_never_runs_out_is_a_value() -> None:
    """Infinity is known, and is what the highest of its column says."""
    trend = fed([(0.0, math.inf), (100.0, 3.0), (200.0, 5.0)]).trend("a", 0.0, 300.0, 30)
    assert trend.high[0] == math.inf
    assert trend.known[0]
    assert isinstance(next(fed([(0.0, 1.0)]).pieces()), Piece)
