"""The conversation with a serial controller, without a wire."""

import json
import random
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from connectors.framing import LONGEST_LINE
from connectors.serial_protocol import SerialProtocol
from connectors.serial_queries import Query
from connectors.serial_settings import SerialSettings
from connectors.telemetry import Event, Execution, LinkChange, Malformed, Sample

LINES = [
    json.loads(line)["line"].encode("latin-1")
    for line in (Path(__file__).parent / "data" / "reply_lines.jsonl").read_text(encoding="utf-8").splitlines()
]
REPORT = b"ok T:210.0 /210.0 B:60.0 /60.0 T0:210.0 /210.0 T1:180.0 /180.0 @:64 B@:0 @0:64 @1:20\n"


def settings(**changes: Any) -> SerialSettings:  # noqa: ANN401 -- any key of the settings
    """Settings of an invented machine with two tools."""
    given_keys: dict[str, Any] = {
        "port": "/dev/invented",
        "sensors": {"manifold": "T0", "bed": "B"},
        "input_of_tool": {0: 1, 1: 2},
        "tool_at_start": 0,
        "duty_full": 127,
    }
    return SerialSettings.model_validate(given_keys | changes)


def opened(**changes: Any) -> SerialProtocol:  # noqa: ANN401 -- any key of the settings
    """A protocol whose port was opened long ago."""
    protocol = SerialProtocol(settings(**changes))
    protocol.opened(-100.0)
    protocol.receive(b"wait\n", 0.0)
    return protocol


def samples(events: list[Event]) -> list[dict[str, float]]:
    """Values of the samples among `events`."""
    return [dict(event.values) for event in events if isinstance(event, Sample)]


def reasons(events: list[Event]) -> list[str]:
    """Reasons of the link changes among `events`."""
    return [event.reason for event in events if isinstance(event, LinkChange)]


def test_report_becomes_one_sample_with_only_what_was_reported() -> None:
    """What one line says is one sample; set points need a second report, duty is a share of full."""
    protocol = opened()
    assert samples(protocol.receive(REPORT, 1.0)) == [{"duty:manifold": 64 / 127, "duty:bed": 0.0}]
    assert samples(protocol.receive(REPORT, 2.0)) == [
        {
            "temp_c:manifold": 210.0,
            "set_c:manifold": 210.0,
            "duty:manifold": 64 / 127,
            "temp_c:bed": 60.0,
            "set_c:bed": 60.0,
            "duty:bed": 0.0,
        }
    ]


def test_active_tool_word_serves_for_that_tool_only_without_numbered_words() -> None:
    """`T:` is the active tool's heater: taken for T0 while tool 0 is active, not while tool 1 is."""
    protocol = opened(sensors={"manifold": "T0"})
    for time_s in (1.0, 2.0):
        found = samples(protocol.receive(b"T:200.0 /200.0\n", time_s))
    assert found == [{"temp_c:manifold": 200.0, "set_c:manifold": 200.0}]
    protocol.receive(b"echo:Active Extruder: 1\n", 3.0)
    assert samples(protocol.receive(b"T:200.0 /200.0\n", 4.0)) == []
    assert samples(protocol.receive(b"T:200.0 E:1 W:3\n", 4.0)) == []


def test_active_tool_word_belongs_to_the_tool_that_is_waited_for() -> None:
    """While a command waits for tool 1, `T:` is tool 1's heater, not the active tool 0's."""
    protocol = opened(sensors={"melt": "T"})
    for time_s in (1.0, 2.0):
        found = samples(protocol.receive(b"T:200.0\n", time_s))
    assert found == [{"temp_c:melt": 200.0}]
    assert samples(protocol.receive(b"T:200.0 E:1 W:3\n", 3.0)) == []


def test_one_damaged_report_changes_nothing() -> None:
    """A lost tail (`B:6` for 60) is a legal line; the value is held back, and the next true one is taken."""
    protocol = opened()
    for time_s in (1.0, 2.0):
        protocol.receive(REPORT, time_s)
    assert "temp_c:bed" not in samples(protocol.receive(b"ok T0:210.0 /210.0 B:6\n", 3.0))[0]
    assert samples(protocol.receive(REPORT, 4.0))[0]["temp_c:bed"] == 60.0


def test_feed_goes_to_the_active_input() -> None:
    """Single feed axis and reported tool: feed per input, nothing in the interval of the change."""
    protocol = opened()
    found = []
    for time_s, line in enumerate(
        (
            b"X:1.0 Y:1.0 Z:0.2 E:10.0\n",
            b"X:1.0 Y:1.0 Z:0.2 E:12.0\n",
            b"echo:Active Extruder: 1\n",
            b"X:1.0 Y:1.0 Z:0.2 E:13.0\n",
            b"X:1.0 Y:1.0 Z:0.2 E:16.0\n",
        )
    ):
        found += samples(protocol.receive(line, float(time_s)))
    assert found[-1] == {"fed_mm:1": 2.0, "fed_mm:2": 3.0}


def test_flow_scales_the_feed_of_its_tool() -> None:
    """After `E0 Flow: 96%` ten millimetres of the axis feed 9.6."""
    protocol = opened()
    protocol.receive(b"echo:E0 Flow: 96%\nX:1.0 Y:1.0 Z:0.2 E:0.0\n", 1.0)
    assert samples(protocol.receive(b"X:1.0 Y:1.0 Z:0.2 E:10.0\n", 2.0))[0]["fed_mm:1"] == pytest.approx(9.6)


def test_drives_reported_one_by_one() -> None:
    """With one value per drive the active tool does not matter."""
    protocol = opened(feed="per_drive", tool_at_start=None)
    protocol.receive(b"X:5.0 Y:6.0 Z:7.0 E0:101.0 E1:0.0\n", 1.0)
    assert samples(protocol.receive(b"X:5.0 Y:6.0 Z:7.0 E0:103.0 E1:1.5\n", 2.0)) == [
        {"fed_mm:1": 2.0, "fed_mm:2": 1.5}
    ]


def test_restart_is_told_and_never_a_huge_move() -> None:
    """The banner voids the feed baseline; the machine is READY, and the total goes on from where it was."""
    protocol = opened()
    protocol.receive(b"X:1.0 Y:1.0 Z:0.2 E:700.0\nX:1.0 Y:1.0 Z:0.2 E:702.0\n", 1.0)
    events = protocol.receive(b"start\n", 2.0)
    assert reasons(events) == ["the controller restarted"]
    assert [event.execution for event in events if isinstance(event, Sample)] == [Execution.READY]
    assert samples(protocol.receive(b"X:0.0 Y:0.0 Z:0.0 E:0.0\n", 3.0)) == [{"fed_mm:1": 2.0, "fed_mm:2": 0.0}]
    assert not protocol.restarted_by_opening


def test_restart_caused_by_opening_is_told_loudly() -> None:
    """A banner within 5 s of opening the port was caused by it."""
    protocol = SerialProtocol(settings())
    protocol.opened(10.0)
    assert "OPENING THIS PORT RESTARTED" in reasons(protocol.receive(b"start\r\n", 14.0))[0]
    assert protocol.restarted_by_opening


def test_reopened_port_makes_the_active_tool_unknown() -> None:
    """What happened out of sight is not known: no feed is shown until the controller names its tool."""
    protocol = opened()
    protocol.receive(b"X:1.0 Y:1.0 Z:0.2 E:10.0\n", 1.0)
    protocol.opened(60.0)
    protocol.receive(b"X:1.0 Y:1.0 Z:0.2 E:90.0\n", 61.0)
    assert samples(protocol.receive(b"X:1.0 Y:1.0 Z:0.2 E:91.0\n", 62.0)) == []
    protocol.receive(b"Tool: T1\nX:1.0 Y:1.0 Z:0.2 E:91.0\n", 63.0)
    assert samples(protocol.receive(b"X:1.0 Y:1.0 Z:0.2 E:92.0\n", 64.0)) == [{"fed_mm:1": 0.0, "fed_mm:2": 1.0}]


def test_progress_and_state_of_a_build_from_storage() -> None:
    """Byte and size give progress; a pause holds until the place advances twice; the end is said by the controller."""
    protocol = opened()
    events: list[Event] = []
    for line in (
        b"SD printing byte 50/200",
        b"//action:paused",
        b"SD printing byte 60/200",
        b"SD printing byte 60/200",
        b"SD printing byte 70/200",
        b"SD printing byte 200/200",
        b"Not SD printing",
    ):
        events += protocol.receive(line + b"\n", 1.0)
    assert samples(events)[0] == {"file_byte": 50.0, "progress": 0.25}
    states = [event.execution for event in events if isinstance(event, Sample)]
    held = [Execution.INTERRUPTED] * 3
    assert states == [Execution.ACTIVE, *held, Execution.ACTIVE, Execution.ACTIVE, Execution.PROGRAM_COMPLETED]


def test_not_printing_from_storage_says_nothing_where_a_host_prints() -> None:
    """Without a build from storage before, the build may come from a host: nothing is inferred."""
    assert samples(opened().receive(b"Not SD printing\n", 1.0)) == []


def test_errors_of_the_controller_are_told_in_clean_text() -> None:
    """An error leaves the link available; giving up does not, until temperatures come again."""
    protocol = opened()
    for time_s in (1.0, 2.0):
        protocol.receive(REPORT, time_s)
    error = protocol.receive(b"Error:line arrived damaged, kept line: 41\n", 3.0)
    assert [(e.available, e.reason) for e in error if isinstance(e, LinkChange)] == [
        (True, "the controller reports an error: line arrived damaged, kept line: 41")
    ]
    fatal = protocol.receive(b"!! heater out of control, halted\n", 4.0)
    assert [e.available for e in fatal if isinstance(e, LinkChange)] == [False]
    assert [e.execution for e in fatal if isinstance(e, Sample)] == [Execution.STOPPED]
    assert reasons(protocol.receive(REPORT, 5.0)) == ["the controller reports temperatures again"]
    assert reasons(protocol.receive(REPORT, 6.0)) == []


def test_flood_of_errors_is_told_once_in_a_while() -> None:
    """A hundred errors in a second are one announcement; all are counted."""
    protocol = opened()
    events = protocol.receive(b"Error:heater 1: no probe answers\n" * 100, 1.0)
    assert len(reasons(events)) == 1
    assert protocol.counts["error"] == 100


def test_missing_sensor_is_told_once_and_its_return_too() -> None:
    """A sensor that reports absolute zero is absent, never 0; one odd report is no fault."""
    protocol = opened(sensors={"manifold": "T0"})
    events: list[Event] = []
    for time_s in range(1, 7):
        events += protocol.receive(b"ok T0:-273.1 /0.0\n", float(time_s))
    assert all("temp_c:manifold" not in values for values in samples(events))
    assert len(reasons(events)) == 1
    assert "sensor manifold (T0) is absent" in reasons(events)[0]
    assert reasons(protocol.receive(b"ok T0:22.0 /0.0\n", 7.0)) == ["sensor manifold (T0) reports again"]


@pytest.mark.parametrize("line", [LINES[index - 1] for index in (46, 47, 49, 50, 51)])
def test_unusable_lines_yield_nothing_but_a_count(line: bytes) -> None:
    """Cut, merged, damaged and foreign lines give no value; they are counted and reported as malformed."""
    protocol = opened()
    events = protocol.receive(line + b"\n", 1.0)
    assert [type(event) for event in events] == [Malformed]
    assert sum(protocol.counts.values()) == 1


def test_flood_of_garbage_is_counted_but_reported_once_a_second() -> None:
    """The recording must not fill with noise: the held-back ones are named in the next report."""
    protocol = opened()
    assert len(protocol.receive(b"\xff\xfe\xfd\n" * 500, 1.0)) == 1
    (event,) = protocol.receive(b"\xff\xfe\xfd\n", 2.5)
    assert isinstance(event, Malformed)
    assert "499 more" in event.reason
    assert protocol.counts["garbage"] == 501


def test_cutting_and_line_endings_make_no_difference() -> None:
    """Whole, byte by byte or cut at random, with LF, CR, CRLF or LFCR: the same events."""
    expected = opened().receive(b"\n".join(LINES) + b"\n", 1.0)
    assert len(expected) > 15
    random_cuts = random.Random(1)  # noqa: S311 -- a repeatable test, no secret
    for ending in (b"\n", b"\r", b"\r\n", b"\n\r"):
        stream = ending.join(LINES) + ending
        assert _in_pieces(stream, [1] * len(stream)) == expected
        for _ in range(20):
            assert _in_pieces(stream, [random_cuts.randint(1, 200) for _ in stream]) == expected


def _in_pieces(stream: bytes, sizes: list[int]) -> list[Event]:
    protocol, events, at = opened(), list[Event](), 0
    for size in sizes:
        events += protocol.receive(stream[at : at + size], 1.0)
        at += size
    return events


@pytest.mark.parametrize("noise", [b"\x00\xff\x80\n", b"x" * (LONGEST_LINE + 5) + b"\n", b'{"a":[[[\n', b"ok T:2\r"])
def test_noise_around_a_report_leaves_it_whole(noise: bytes) -> None:
    """Garbage, an oversize line or broken JSON before and after a report takes nothing from it."""
    protocol = opened()
    protocol.receive(REPORT, 1.0)
    found = samples(protocol.receive(noise + REPORT + noise, 2.0))
    assert found[0]["temp_c:bed"] == 60.0


def test_silence_and_its_end_are_told_once_each() -> None:
    """After `silent_after_s` without a readable line the link is unavailable, with advice; one line ends that."""
    protocol = opened()
    assert protocol.elapse(9.0) == []
    (silent,) = protocol.elapse(10.5)
    assert isinstance(silent, LinkChange)
    assert not silent.available
    assert "nothing readable received for 10 s" in silent.reason
    assert protocol.elapse(20.0) == []
    assert reasons(protocol.receive(b"wait\n", 21.0)) == ["data arrives again"]


def test_only_garbage_names_the_speed() -> None:
    """More than a fifth of broken bytes for 5 s: the speed is probably wrong; text later ends the trouble."""
    protocol = opened(baud=250000)
    events: list[Event] = []
    for tenth in range(80):
        events += protocol.receive(b"\xe0\x9c\x80\xf8\x12a\xff", tenth / 10)
    told = [event for event in events if isinstance(event, LinkChange)]
    assert len(told) == 1
    assert not told[0].available
    assert told[0].reason.startswith("only garbage: is the speed 250000 baud right?")
    events = [event for second in range(8, 20) for event in protocol.receive(REPORT, float(second))]
    assert reasons(events) == ["data arrives again"]


SENSOR_PATTERN = {
    "name": "motion sensor",
    "regex": r"E(?P<input>\d+) sensor: (?P<state>ok|no motion)(?:, measured (?P<pct>\d+)% "
    r"\(min (?P<min>\d+)% max (?P<max>\d+)%\) over (?P<mm>[\d.]+)mm| for (?P<still_mm>[\d.]+)mm)",
    "channels": {"stall": {"group": "state", "words": {"ok": 0, "no motion": 1}}},
}
PATTERNS = [
    SENSOR_PATTERN,
    {
        "name": "measured feed",
        "regex": r"Filament sensor (?P<input>\d+): (?P<on>on|off), distance (?P<mm>[\d.]+)mm",
        "first_input": 1,
        "channels": {"sensed_mm": {"group": "mm"}},
    },
    {
        "name": "driver stall",
        "regex": r"warning: driver E(?P<input>\d+) stalled at Z(?P<z>[\d.]+)",
        "channels": {"stall": {"constant": 1}},
        "clears_after_s": 30,
    },
    {
        "name": "driver flags",
        "regex": r"Driver E(?P<input>\d+): (?P<flags>[a-z, ]+), load min (?P<lo>\d+)/max (?P<hi>\d+)",
        "channels": {"stall": {"group": "flags", "words": {"stalled": 1, "standstill, over temperature warning": 0}}},
    },
]


@pytest.mark.parametrize(
    ("line", "groups", "values"),
    [
        (
            "E0 sensor: ok, measured 98% (min 91% max 104%) over 1523.1mm",
            {"input": "0", "state": "ok", "pct": "98", "min": "91", "max": "104", "mm": "1523.1"},
            {"stall:1": 0.0},
        ),
        ("E1 sensor: no motion for 6.4mm", {"input": "1", "state": "no motion", "still_mm": "6.4"}, {"stall:2": 1.0}),
        ("Filament sensor 2: on, distance 7.5mm", {"input": "2", "on": "on", "mm": "7.5"}, {"sensed_mm:2": 0.0}),
        ("warning: driver E0 stalled at Z3.40", {"input": "0", "z": "3.40"}, {"stall:1": 1.0}),
        (
            "Driver E1: standstill, over temperature warning, load min 120/max 402",
            {"input": "1", "flags": "standstill, over temperature warning", "lo": "120", "hi": "402"},
            {"stall:2": 0.0},
        ),
    ],
)
def test_patterns_of_the_owner_take_their_values(line: str, groups: dict[str, str], values: dict[str, float]) -> None:
    """The five composed sensor and driver lines give the named groups, and the channels mapped to them."""
    chosen = settings(patterns=PATTERNS)
    found = [match for pattern in chosen.patterns if (match := pattern.compiled.fullmatch(line))]
    assert [{name: text for name, text in match.groupdict().items() if text is not None} for match in found] == [groups]
    protocol = opened(patterns=PATTERNS)
    assert samples(protocol.receive(line.encode() + b"\n", 1.0)) == [values]
    assert protocol.counts == {"feed_rebased": 0}


def test_measured_feed_is_rebased_and_stall_reported_once_ends() -> None:
    """Measured feed counts from the start of the watch and survives a reset; a single stall line clears later."""
    protocol = opened(patterns=PATTERNS)
    found = []
    for time_s, reading in enumerate((7.5, 9.0, 900.0, 9.5, 0.5, 1.5)):
        found += samples(protocol.receive(f"Filament sensor 2: on, distance {reading}mm\n".encode(), float(time_s)))
    assert [values["sensed_mm:2"] for values in found] == [0.0, 1.5, 2.0, 3.0]
    protocol.receive(b"warning: driver E0 stalled at Z3.40\n", 10.0)
    assert samples(protocol.elapse(39.0)) == []
    assert samples(protocol.elapse(40.0)) == [{"stall:1": 0.0}]


@given(st.lists(st.tuples(st.one_of(st.binary(max_size=120), st.sampled_from(LINES)), st.floats(0, 4)), max_size=40))
def test_nothing_received_raises_and_nothing_but_the_allow_list_is_sent(steps: list[tuple[bytes, float]]) -> None:
    """Whatever arrives, receiving does not raise, and every byte that would go out is a query of the table."""
    protocol = opened(mode="ask", position_query_is_safe=True, patterns=PATTERNS)
    time_s = 0.0
    for data, wait_s in steps:
        time_s += wait_s
        protocol.receive(data + b"\n", time_s)
        protocol.elapse(time_s)
        query = protocol.poll(time_s)
        assert query is None or query in {b"M105\n", b"M27\n", b"M114\n"}
    assert [query.value for query in Query] == [b"M105\n", b"M27\n", b"M114\n"]


@pytest.mark.parametrize(
    ("line", "calm_s"),
    [
        (b"Error:line arrived damaged, kept line: 41\n", 10.0),
        (b"!! heater out of control, halted\n", 10.0),
        (b"Resend: 42\n", 10.0),
        (b"echo:busy: processing\n", 5.0),
        (b"T:187.2 E:0 W:?\n", 5.0),
        (b"start\n", 5.0),
    ],
)
def test_nothing_is_asked_of_a_busy_or_upset_controller(line: bytes, calm_s: float) -> None:
    """After an error ten seconds of calm, while busy or heating up five: only then a query goes out."""
    protocol = opened(mode="ask")
    protocol.receive(line, 1.0)
    assert [protocol.poll(1.0 + tenth / 10) for tenth in range(round(10 * calm_s))] == [None] * round(10 * calm_s)
    assert protocol.poll(1.1 + calm_s) is not None


def test_answers_are_matched_by_what_they_are() -> None:
    """Another report between a query and its answer does not count as the answer."""
    protocol = opened(mode="ask", ask_progress=False)
    assert protocol.poll(1.0) is Query.TEMPERATURES
    protocol.receive(b"X:1.0 Y:1.0 Z:0.2 E:10.0\nok\nSD printing byte 1/9\n", 1.1)
    assert protocol.poll(3.0) is None
    told = reasons(protocol.receive(b"ok T0:210.0 /210.0\n", 3.5))
    assert "only listens" in told[0]


def test_reopened_port_awaits_no_answer() -> None:
    """A query sent before the port was lost is never answered; the next one goes out at once."""
    protocol = opened(mode="ask")
    assert protocol.poll(1.0) is not None
    protocol.opened(2.0)
    assert protocol.poll(2.0) is not None


def test_unfinished_line_does_not_survive_a_reopened_port() -> None:
    """The first line after reopening begins with its first byte."""
    protocol = opened()
    protocol.receive(b"ok T0:2", 1.0)
    protocol.opened(2.0)
    assert len(reasons(protocol.receive(b"start\n", 2.1))) == 1


def test_measured_feed_is_rebased_by_a_restart() -> None:
    """A sensor that counts from 0 again after a restart has not moved back."""
    protocol = opened(patterns=PATTERNS)
    found = []
    for line in (b"Filament sensor 2: on, distance 3.0mm\n", b"start\n", b"Filament sensor 2: on, distance 0.0mm\n"):
        found += samples(protocol.receive(line, 1.0))
    assert found == [{"sensed_mm:2": 0.0}, {}, {"sensed_mm:2": 0.0}]


def test_impossible_place_in_the_file_is_no_progress() -> None:
    """More bytes than the file has, or a file of no bytes, give no progress."""
    protocol = opened()
    assert samples(protocol.receive(b"SD printing byte 9/5\n", 1.0)) == [{}]
    assert samples(protocol.receive(b"SD printing byte 0/0\n", 1.0)) == [{}]


@pytest.mark.parametrize(
    "damaged",
    [
        b"echo:Active Extruder: \xb1\n",
        b"echo:Actixe Extruder: 1\n",
        b"echo:Active Extruder: x1\n",
        b"Active Extruder: 1ok\n",
        b"ok T0:210.0 /210.0Active Extruder: 1\n",
        b"Actruder: 1\n",
        b"echo:busy: processingActive Extruder: 1\n",
        b"Error:no probe answersTool: T1\n",
        b"Tool: \n",
        b"Tol: T1\n",
        b"\xff\x80e: \xfe\xa1\n",
        b"x" * (LONGEST_LINE + 5) + b"\n",
    ],
)
def test_feed_after_a_damaged_change_of_tool_goes_to_no_wrong_input(damaged: bytes) -> None:
    """The tool is unknown until it is told again, the line counts as one that could not be used, and that is said."""
    protocol = opened()
    protocol.receive(b"X:1.0 Y:1.0 Z:0.2 E:10.0\nX:1.0 Y:1.0 Z:0.2 E:12.0\n", 1.0)
    told = [event for event in protocol.receive(damaged, 2.0) if isinstance(event, Malformed)]
    assert "which input feeds is not known" in told[0].reason
    assert sum(protocol.counts.get(kind, 0) for kind in ("malformed", "garbage", "dropped")) == 1
    protocol.receive(b"X:1.0 Y:1.0 Z:0.2 E:13.0\n", 3.0)
    assert samples(protocol.receive(b"X:1.0 Y:1.0 Z:0.2 E:16.0\n", 4.0)) == []
    assert protocol.lacks_tool
    protocol.receive(b"echo:Active Extruder: 1\nX:1.0 Y:1.0 Z:0.2 E:17.0\n", 5.0)
    assert samples(protocol.receive(b"X:1.0 Y:1.0 Z:0.2 E:19.0\n", 6.0)) == [{"fed_mm:1": 2.0, "fed_mm:2": 2.0}]


@pytest.mark.parametrize(
    "line",
    [
        b"o\xff\n",
        b"ok T0:2\xff1.3 /200.0 B:60.1 /60.0\n",
        b"ok T:201.3 /20echo:busy: processing\n",
        b"T0:210.0 /21\n",
        b"echo:SD card ok\n",
        b"echo:busy: processing\n",
        b"Error:heater 1: no probe answers\n",
        b"Total moves: 1\n",
        b"// Tool: T1 chosen by the host\n",
        b'{"melt_c":[60.1,214.8\n',
    ],
)
def test_other_damage_leaves_the_tool_known(line: bytes) -> None:
    """A line that cannot have been a tool's takes no feed away."""
    protocol = opened()
    protocol.receive(b"X:1.0 Y:1.0 Z:0.2 E:10.0\n" + line, 1.0)
    assert samples(protocol.receive(b"X:1.0 Y:1.0 Z:0.2 E:12.0\n", 2.0)) == [{"fed_mm:1": 2.0, "fed_mm:2": 0.0}]


def test_a_tool_that_never_changes_survives_any_damage() -> None:
    """Where the profile says that one tool is always active, no line could have told another."""
    protocol = opened(tool_source="fixed")
    protocol.receive(b"X:1.0 Y:1.0 Z:0.2 E:10.0\necho:Active Extru\n", 1.0)
    assert samples(protocol.receive(b"X:1.0 Y:1.0 Z:0.2 E:12.0\n", 2.0))[0]["fed_mm:1"] == 2.0


@pytest.mark.parametrize("damaged", [b'{"tool": 1, "axis', b'{"tool": "1"}'])
def test_feed_after_a_damaged_document_goes_to_no_wrong_input(damaged: bytes) -> None:
    """Where documents tell the tool, one that cannot be read, or whose tool is no number, may have told another."""
    protocol = opened(json_places={"tool": "/tool", "axis": "/axis"})
    protocol.receive(b'{"tool": 0, "axis": 10.0}\n' + damaged + b"\n", 1.0)
    for axis_mm in (11.0, 15.0):
        assert samples(protocol.receive(b'{"axis": %.1f}\n' % axis_mm, 2.0)) == []
    protocol.receive(b'{"tool": 1, "axis": 16.0}\n', 3.0)
    assert samples(protocol.receive(b'{"tool": 1, "axis": 18.0}\n', 4.0)) == [{"fed_mm:1": 0.0, "fed_mm:2": 2.0}]
