"""Whole build files against the truth that their composer kept: feed, idle times, set points, whatever the dialect."""

import io
import tracemalloc

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.build_file import BuildSchedule, read_build_file
from tests.build_file_examples import AT_ONCE, Composer, composed, read

SEEDS = range(12)


@pytest.mark.parametrize("seed", SEEDS)
class TestComposed:
    """Files with everything in them, by random."""

    def test_time_is_the_sum_of_lengths_over_speeds(self, seed: int) -> None:
        """With an acceleration without limit, planned time is what the composer added up."""
        work = composed(seed)
        schedule = read(work.text(), work.settings)
        assert schedule.duration.planned_s == pytest.approx(work.truth.time_s, abs=1e-3)
        assert schedule.times.tool_changes == work.truth.tool_changes

    def test_feed_of_every_input_is_exact(self, seed: int) -> None:
        """Net feed and the furthest point of each strand are those of the composer, to a nanometre or so."""
        work = composed(seed)
        schedule = read(work.text(), work.settings)
        assert [plan.number for plan in schedule.inputs] == sorted(work.truth.feeds)
        for plan in schedule.inputs:
            feeds, news = work.truth.feeds[plan.number], work.truth.new_feeds(plan.number)
            assert plan.fed_mm == pytest.approx(sum(feed.feed_mm for feed in feeds), abs=1e-6)
            assert plan.new_mm == pytest.approx(sum(new_mm for _, _, new_mm in news), abs=1e-6)
            assert plan.stretches.feed_mm.sum() == pytest.approx(plan.fed_mm, abs=1e-6)
            assert plan.stretches.new_mm.sum() == pytest.approx(plan.new_mm, abs=1e-6)

    def test_idle_times_are_exact(self, seed: int) -> None:
        """First and last new feed and the longest gap between are the composer's; retractions do not end a gap."""
        work = composed(seed)
        for plan in read(work.text(), work.settings).inputs:
            news = work.truth.new_feeds(plan.number)
            assert plan.first_s == pytest.approx(news[0][0], abs=1e-3)
            assert plan.last_s == pytest.approx(news[-1][1], abs=1e-3)
            assert plan.gap_s == pytest.approx(max(work.truth.gaps(plan.number), default=0.0), abs=1e-3)

    def test_rows_are_in_order_and_hold_every_long_gap(self, seed: int) -> None:
        """Rows never overlap, and each gap of more than ten seconds lies between two of them."""
        work = composed(seed)
        for plan in read(work.text(), work.settings).inputs:
            rows = plan.stretches
            assert (np.diff(rows.start_s) >= 0).all()
            assert (rows.end_s >= rows.start_s).all()
            assert (rows.start_s[1:] >= rows.end_s[:-1] - 1e-9).all()
            is_new = rows.new_mm > 1e-9
            found = rows.start_s[is_new][1:] - rows.end_s[is_new][:-1]
            gaps = [gap for gap in work.truth.gaps(plan.number) if gap > 10.0]
            assert sorted(found[found > 10.0]) == pytest.approx(sorted(gaps), abs=1e-3)

    def test_set_points_have_their_times(self, seed: int) -> None:
        """Every set point stands at the time when its line's turn comes."""
        work = composed(seed)
        rows = read(work.text(), work.settings).set_points
        assert [(row.number, row.target_c) for row in rows] == [row[1:] for row in work.truth.set_points]
        assert [row.time_s for row in rows] == pytest.approx([row[0] for row in work.truth.set_points], abs=1e-3)

    def test_layers_are_the_heights_that_feed(self, seed: int) -> None:
        """Each height is listed once, in the order of first feed while travelling."""
        work = composed(seed)
        layers = read(work.text(), work.settings).layers
        assert [round(layer.z_mm * 1000) for layer in layers] == work.truth.heights

    def test_line_ends_and_blocks_change_nothing(self, seed: int) -> None:
        """CR LF, lone CR, blocks of 64 bytes and single bytes give the same schedule."""
        work = composed(seed, steps=120)
        plain = read(work.text(), work.settings)
        for newline in ("\r\n", "\r"):
            _same(plain, read(work.text(newline), work.settings, block_bytes=997), same_bytes=newline == "\r")
        _same(plain, read(work.text(), work.settings, block_bytes=64))
        single = (bytes([byte]) for byte in work.text())
        _same(plain, read_build_file(single, work.settings, block_bytes=333))


def _same(one: BuildSchedule, other: BuildSchedule, *, same_bytes: bool = True) -> None:
    assert (one.lines, one.moves, one.times.tool_changes) == (other.lines, other.moves, other.times.tool_changes)
    assert other.duration.planned_s == pytest.approx(one.duration.planned_s, rel=1e-9)
    assert other.unknown == one.unknown
    assert other.notes == one.notes
    assert [row[:-1] for row in other.set_points] == [row[:-1] for row in one.set_points]
    assert other.marks.time_s == pytest.approx(one.marks.time_s, abs=1e-6)
    if same_bytes:
        assert (other.marks.byte == one.marks.byte).all()
    for plan, again in zip(one.inputs, other.inputs, strict=True):
        assert (again.fed_mm, again.new_mm, again.gap_s) == pytest.approx((plan.fed_mm, plan.new_mm, plan.gap_s))
        assert again.stretches.feed_mm == pytest.approx(plan.stretches.feed_mm, abs=1e-6)
        assert again.stretches.start_s == pytest.approx(plan.stretches.start_s, abs=1e-6)


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 2**32), block=st.integers(1, 4000))
def test_any_composed_file_is_exact_in_blocks_of_any_size(seed: int, block: int) -> None:
    """Whatever is composed, and however the file is cut, time and feed are exact."""
    work = composed(seed, steps=60)
    schedule = read(work.text(), work.settings, block_bytes=block)
    assert schedule.duration.planned_s == pytest.approx(work.truth.time_s, abs=1e-3)
    for plan in schedule.inputs:
        assert plan.fed_mm == pytest.approx(sum(feed.feed_mm for feed in work.truth.feeds[plan.number]), abs=1e-6)


def test_a_long_even_build_has_few_rows() -> None:
    """An hour of feeding in moves of a second, with a retraction in each, become a row a minute."""
    work = Composer(1, is_tidy=True)
    work.emit("G1 F1800")
    for number in range(3600):
        work.feed_only(-0.8)
        work.feed_only(0.8)
        work.emit("G1 F1800")
        work.speed_mm_min = 1800
        work.at_um["X"] += 30_000
        work.shown_um["X"] += 30_000
        e, fed_mm = work._e(1.0)
        work.emit(f"G1 X{work.shown_um['X'] / 1000:.3f}{e}")
        work._feed(fed_mm, 1.0)
        work.emit(f"; {number}")
    (plan,) = read(work.text()).inputs
    assert plan.new_mm == pytest.approx(3600.0)
    assert len(plan.stretches) == pytest.approx(work.truth.time_s / 60, abs=2)
    assert plan.gap_s == pytest.approx(0.04, abs=1e-3)


def test_marks_tell_line_byte_and_time() -> None:
    """Each thousandth line has a mark at its byte and time; between them time is interpolated."""
    lines = [f"G1 X{number % 2 * 10} F600" for number in range(1, 5001)]  # a second each, but for the first
    text = "\n".join(lines) + "\n"
    marks = read(text, block_bytes=777).marks
    assert marks.line.tolist() == [0, 1000, 2000, 3000, 4000, 5000]
    assert marks.byte.tolist() == [len("".join(line + "\n" for line in lines[:number])) for number in marks.line]
    assert marks.time_s == pytest.approx(marks.line, abs=1e-3)
    middle = (marks.byte[2] + marks.byte[3]) / 2
    assert marks.time_at(middle) == pytest.approx(2500.0, abs=0.5)
    assert marks.time_at(-5) == 0.0
    assert marks.time_at(1e9) == pytest.approx(5000.0)


def test_progress_comes_to_the_end() -> None:
    """The callback is told bytes that only grow, and last the whole file."""
    text = composed(3).text()
    told: list[int] = []
    read_build_file(io.BytesIO(text), AT_ONCE, told.append, block_bytes=500)
    assert told == sorted(told)
    assert told[-1] == len(text)
    assert len(told) > 10


def _peak_bytes(lines: int) -> int:
    """Most memory in use while a file of so many even lines is read from an iterator."""
    row = "".join(f"G1 X{number % 97} Y{number % 89} E1\n" for number in range(1000)).encode()
    pieces = (b"M83\n" + row if number == 0 else row for number in range(lines // 1000))
    tracemalloc.start()
    schedule = read_build_file(pieces, AT_ONCE, block_bytes=1 << 17)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert schedule.lines == lines + 1
    return peak


def test_memory_does_not_grow_with_the_file() -> None:
    """Eight times the lines need hardly more memory: only the schedule grows."""
    assert _peak_bytes(400_000) < 1.25 * _peak_bytes(50_000)
