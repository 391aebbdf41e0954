"""Bytes to lines.

The line endings follow a community wiki on G-code replies; the limits are common practice, no source.
"""

import random

from hypothesis import given
from hypothesis import strategies as st

from connectors.framing import LONGEST_LINE, OLDEST_PART_S, Dropped, Framer


def _lines(stream: bytes, cuts: list[int]) -> list[bytes | Dropped]:
    framer, found, at = Framer(), list[bytes | Dropped](), 0
    for cut in [*sorted(cuts), len(stream)]:
        found += framer.feed(stream[at:cut], 0.0)
        at = cut
    return found


def test_every_line_ending_ends_a_line() -> None:
    """LF, CR, CRLF and LFCR give the same lines; empty lines vanish."""
    for ending in (b"\n", b"\r", b"\r\n", b"\n\r"):
        assert Framer().feed(ending.join([b"one", b"two", b"", b"three", b""]), 0.0) == [b"one", b"two", b"three"]


def test_a_line_counts_only_when_its_end_arrived() -> None:
    """An unfinished line is not handed out."""
    framer = Framer()
    assert framer.feed(b"ok T:2", 0.0) == []
    assert framer.feed(b"01.3\nok", 1.0) == [b"ok T:201.3"]


@given(st.lists(st.sampled_from([b"ok", b"T:1", b"\n", b"\r", b"\r\n", b"\n\r", b"\0\xff"]), max_size=60), st.data())
def test_cutting_makes_no_difference(pieces: list[bytes], data: st.DataObject) -> None:
    """However a stream is cut, the lines are the same."""
    stream = b"".join(pieces)
    cuts = data.draw(st.lists(st.integers(0, len(stream))))
    assert _lines(stream, cuts) == _lines(stream, [])


def test_oversize_line_is_dropped_whole_and_once() -> None:
    """A line over the cap is dropped with its tail, however it is cut; the next line is whole again."""
    stream = b"x" * (3 * LONGEST_LINE) + b"T:1\nT:2\n"
    cuts = random.Random(2)  # noqa: S311 -- a repeatable test, no secret
    for pieces in ([], [10], [cuts.randrange(len(stream)) for _ in range(50)]):
        dropped, line = _lines(stream, pieces)
        assert isinstance(dropped, Dropped)
        assert str(LONGEST_LINE) in dropped.reason
        assert dropped.excerpt.startswith(b"xxxx")
        assert len(dropped.excerpt) <= 80
        assert line == b"T:2"


def test_line_of_exactly_the_cap_is_kept() -> None:
    """The cap itself is allowed."""
    assert Framer().feed(b"y" * LONGEST_LINE + b"\n", 0.0) == [b"y" * LONGEST_LINE]


def test_memory_stays_bounded_without_any_line_ending() -> None:
    """Megabytes without a line ending leave nothing behind but one complaint."""
    framer = Framer()
    found = [item for _ in range(64) for item in framer.feed(b"\xaa" * LONGEST_LINE, 0.0)]
    assert len(found) == 1
    assert len(framer._part) <= LONGEST_LINE


def test_part_older_than_five_seconds_is_dropped_with_its_tail() -> None:
    """What stops in the middle of a line is given up; its late tail could look like another line, so it goes too."""
    framer = Framer()
    framer.feed(b"ok T:20", 10.0)
    assert framer.expire(10.0 + OLDEST_PART_S) == []
    (dropped,) = framer.expire(10.1 + OLDEST_PART_S)
    assert dropped == Dropped("line not finished within 5 s", b"ok T:20")
    assert framer.feed(b"1.3 B:60\nT:2\n", 16.0) == [b"T:2"]


def test_late_end_of_a_line_drops_it_without_being_asked() -> None:
    """The age is also judged when more bytes arrive."""
    framer = Framer()
    framer.feed(b"ok T:20", 0.0)
    dropped, line = framer.feed(b"1\nT:2\n", 6.0)
    assert isinstance(dropped, Dropped)
    assert line == b"T:2"


def test_clear_forgets_a_part() -> None:
    """After the port was reopened a new line begins."""
    framer = Framer()
    framer.feed(b"ok T:20", 0.0)
    framer.clear()
    assert framer.feed(b"start\n", 0.1) == [b"start"]
