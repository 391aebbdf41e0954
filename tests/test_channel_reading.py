"""One channel out of a status, and what is remembered of it from one reading to the next."""

from typing import Any

import pytest

from connectors.channel_memory import ChannelMemory, FeedMemory, changed_unit
from connectors.channel_reading import ChannelReader
from connectors.feed_ledger import FeedBounds
from connectors.json_pointer import Json
from connectors.message_order import MessageOrder
from connectors.strict_json import DEEPEST, MOST_VALUES, is_bounded
from connectors.telemetry import Execution
from connectors.websocket_channels import ChannelSource

BOUNDS = FeedBounds(retract_limit_mm=5.0, fastest_mm_s=60.0)


def reader(name: str, **source: Any) -> ChannelReader:  # noqa: ANN401 -- any key of a source
    return ChannelReader(name, ChannelSource.model_validate({"pointer": ""} | source))


@pytest.mark.parametrize(
    ("name", "source", "raw", "value"),
    [
        ("temp_c:m", {}, 210, 210.0),
        ("temp_c:m", {"unit": "F"}, 212.0, 100.0),
        ("temp_c:m", {"unit": "F"}, 32, 0.0),
        ("temp_c:m", {"unit": "K"}, 273.15, 0.0),
        ("temp_c:m", {"scale": 0.1}, 2103, 210.3),
        ("temp_c:m", {"scale": 0.1, "offset": -3.0}, 2103, 207.3),
        ("temp_c:m", {"accept_strings": True}, "210.5", 210.5),
        ("temp_c:m", {"accept_strings": True, "min": -50.0}, " -4e1 ", -40.0),
        ("set_c:m", {"unit": "F"}, 0, 0.0),
        ("set_c:m", {"unit": "K"}, 0.0, 0.0),
        ("set_c:m", {"numbers": {"null": 0.0}}, None, 0.0),
        ("duty:m", {"unit": "percent"}, 41, 0.41),
        ("duty:m", {"scale": 1 / 255}, 255, 1.0),
        ("fed_mm:1", {"unit": "um"}, 1500, 1.5),
        ("fed_mm:1", {"unit": "m"}, -0.25, -250.0),
        ("fed_mm:1", {"scale": -1.0}, 3.0, -3.0),
        ("stall:1", {}, True, 1.0),
        ("stall:1", {}, False, 0.0),
        ("stall:1", {"numbers": {"jam": 1.0}}, "jam", 1.0),
        ("stall:1", {"numbers": {"3": 1.0}}, 3.0, 1.0),
        ("file_byte", {}, 2**40, float(2**40)),
    ],
)
def test_values(name: str, source: dict[str, Any], raw: Json, value: float) -> None:
    """Scale, offset, unit and words; 212 °F is 100 °C and 273.15 K is 0 °C (ITS-90 and its definition of °F)."""
    assert reader(name, **source).read(raw).value == pytest.approx(value)


@pytest.mark.parametrize(
    ("name", "source", "raw", "reason"),
    [
        ("temp_c:m", {}, -273.1, "outside 0 to 900"),
        ("temp_c:m", {"max": 300.0}, 301, "outside 0 to 300"),
        ("temp_c:m", {"min": 5.0}, 4.9, "outside 5 to 900"),
        ("temp_c:m", {"accept_strings": True}, "210.5 C", "no number"),
        ("temp_c:m", {"accept_strings": True}, "nan", "no number"),
        ("temp_c:m", {"accept_strings": True}, "0x10", "no number"),
        ("temp_c:m", {"accept_strings": True}, "1_0", "no number"),
        ("temp_c:m", {"accept_strings": True}, "", "no number"),
        ("temp_c:m", {"accept_strings": True}, "9e999", "too great"),
        ("temp_c:m", {}, float("inf"), "too great"),
        ("fed_mm:1", {"scale": 1e12}, 1e300, "too great"),
        ("duty:m", {}, 41, "outside 0 to 1"),
        ("progress", {}, 1.01, "outside 0 to 1"),
        ("stall:1", {}, 2, "outside 0 to 1"),
        ("stall:1", {"numbers": {"jam": 1.0}}, "ok", "does not know"),
        ("temp_c:m", {}, {}, "no plain value"),
    ],
)
def test_reasons(name: str, source: dict[str, Any], raw: Json, reason: str) -> None:
    """What cannot be true or is no number gives no value, with its reason."""
    found = reader(name, **source).read(raw)
    assert found.value is None
    assert reason in str(found.reason)


@pytest.mark.parametrize(
    ("raw", "word"),
    [
        ("on", Execution.ACTIVE),
        (2, Execution.INTERRUPTED),
        (True, Execution.STOPPED),
        (None, Execution.READY),
        ("off", None),
        (2.5, None),
        ([], None),
        (10**400, None),
    ],
)
def test_words(raw: Json, word: Execution | None) -> None:
    """Words, codes, truth and null name a state; what the profile does not know names none."""
    words = {"on": "ACTIVE", "2": "INTERRUPTED", "true": "STOPPED", "null": "READY"}
    found = reader("execution", words=words).read(raw)
    assert found.word == word
    assert (found.reason is None) == (word is not None)


class TestFeed:
    """A machine's counter becomes one that never jumps."""

    @staticmethod
    def totals(bounds: FeedBounds, *readings_mm: float) -> list[float | None]:
        """Feed after each reading, one a second."""
        memory = FeedMemory(bounds)
        return [memory.advance(reading_mm, float(second)) for second, reading_mm in enumerate(readings_mm)]

    def test_forwards_and_back(self) -> None:
        """Feed and retraction, from whatever the counter said first."""
        assert self.totals(BOUNDS, 900.0, 910.0, 907.0) == [0.0, 10.0, 7.0]

    def test_reset_is_never_a_huge_move(self) -> None:
        """A counter that falls to zero is held, then believed; nothing is credited for the step."""
        assert self.totals(BOUNDS, 900.0, 910.0, 0.0, 4.0, 6.0) == [0.0, 10.0, None, 14.0, 16.0]

    def test_one_odd_reading_changes_nothing(self) -> None:
        """A single jump and back leaves the count as it was."""
        assert self.totals(BOUNDS, 10.0, 5000.0, 12.0) == [0.0, None, 2.0]

    def test_wrap(self) -> None:
        """A counter that begins again at zero goes on without a step."""
        wraps = FeedBounds(retract_limit_mm=5.0, fastest_mm_s=60.0, wrap_mm=65.536)
        assert self.totals(wraps, 60.0, 65.0, 1.0) == pytest.approx([0.0, 5.0, 6.536])

    def test_restart(self) -> None:
        """A machine known to have restarted: nothing is credited up to its first reading."""
        memory = FeedMemory(BOUNDS)
        memory.advance(100.0, 0.0)
        memory.advance(103.0, 1.0)
        memory.restart()
        assert memory.advance(104.0, 2.0) == 3.0
        assert memory.advance(105.0, 3.0) == 4.0


@pytest.mark.parametrize(("before_c", "after_c"), [(210.0, 209.0), (210.0, 300.0), (-40.0, -40.0), (20.0, 39.0)])
def test_steps_that_are_no_change_of_unit(before_c: float, after_c: float) -> None:
    """Small steps, and great ones that fit no pair of units, are not told as a change of unit."""
    assert changed_unit(before_c, after_c) is None


def test_old_value_proves_no_change_of_unit() -> None:
    """After a pause a wall may have warmed by itself."""
    memory = ChannelMemory(reader("temp_c:m"), None)
    memory.read(20.0, 0.0, is_full=True)
    memory.read(68.0, 60.0, is_full=True)
    assert memory.notes == []
    memory.read(154.4, 61.0, is_full=True)
    assert "from °C to °F" in memory.notes[0]


def test_shape_of_arrays_matters_only_to_one_of_many() -> None:
    """The progress of the first job stays the progress, however many jobs wait behind it."""
    memory = ChannelMemory(reader("progress", pointer="/jobs/0"), None)
    assert memory.read({"jobs": [0.5]}, 0.0, is_full=True).value == 0.5
    assert memory.read({"jobs": [0.6, 0.0]}, 1.0, is_full=False).value == 0.6


class TestOrder:
    """Numbers and the machine's clock, over several connections."""

    def test_numbers_begin_anew_with_a_connection(self) -> None:
        """After connecting, any number is the first."""
        order = MessageOrder()
        assert order.judge(100, None, is_full=True).action == "take"
        order.connect_anew()
        assert order.judge(1, None, is_full=True).action == "take"

    def test_full_status_heals_a_gap(self) -> None:
        """A whole status needs nothing that came before it."""
        order = MessageOrder()
        order.judge(1, None, is_full=True)
        assert order.judge(9, None, is_full=True).action == "take"
        assert order.judge(10, None, is_full=False).action == "take"

    def test_clock_goes_on_over_connections(self) -> None:
        """A machine that restarted while it was out of sight is found out by its clock."""
        order = MessageOrder()
        order.judge(None, 500.0, is_full=True)
        order.connect_anew()
        assert order.judge(None, 20.0, is_full=True).restarted is not None
        assert order.judge(None, 21.0, is_full=True).restarted is None


def test_bounds_of_a_document() -> None:
    """As deep and as large as allowed passes, one more does not; shared parts count each time they are met."""
    nested: Json = 0
    for _ in range(DEEPEST):
        nested = [nested]
    assert is_bounded(nested)
    assert not is_bounded([nested])
    assert is_bounded([0] * (MOST_VALUES - 1))
    assert not is_bounded([0] * MOST_VALUES)
    doubled: Json = 0
    for _ in range(60):
        doubled = [doubled, doubled]
    assert not is_bounded(doubled)
