"""The websocket protocol: whole messages in, events out. All machines here are invented."""

import json
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from connectors.json_pointer import Json
from connectors.strict_json import DEEPEST
from connectors.telemetry import Execution, LinkChange, Malformed, Sample
from connectors.websocket_protocol import SAMPLE_SPACING_S, WebsocketProtocol
from tests.websocket_examples import (
    CHANNELS,
    FULL_RULE,
    NUMBERED,
    PART_RULE,
    STATUS,
    Feeder,
    example,
    full,
    part,
    settings,
)

ALL = {"temp_c:manifold": 210.5, "fed_mm:1": 0.0, "fed_mm:2": 0.0}


def test_full_then_partial() -> None:
    """A full status gives every channel; a change gives them all again, with what changed."""
    machine = Feeder(settings())
    assert machine.values(full()) == ALL
    assert machine.values(part({"heat": {"now": 211.0}})) == ALL | {"temp_c:manifold": 211.0}


def test_feed_begins_at_zero_and_goes_on() -> None:
    """Feed counts from the start of the watch, forwards and back, whatever the machine's counter said before."""
    machine = Feeder(settings())
    machine.take(full())
    moved = part({"feed": [{"run": 104.0}, {"run": 48.5}]})
    assert machine.values(moved) == ALL | {"fed_mm:1": 4.0, "fed_mm:2": -1.5}


class TestEdgeCases:
    """What feeds do wrong, and what becomes of it."""

    @pytest.mark.parametrize(
        ("heat", "reason"),
        [
            ({}, "/heat/now is missing: no such member"),
            ({"now": None}, "is null"),
            ({"now": "210"}, "accept_strings"),
            ({"now": True}, "is true, which is no number"),
            ({"now": [210]}, "no plain value"),
            ({"now": 1e300}, "outside 0 to 900"),
            (None, "null has no members"),
        ],
    )
    def test_no_value_is_absent_with_its_own_reason(self, heat: Json, reason: str) -> None:
        """Missing, null, quoted, boolean: no value, never 0, each with its reason; the others are not disturbed."""
        machine = Feeder(settings(messages=[FULL_RULE | {"at": "/d"}]))
        others = {"fed_mm:1": 0.0, "fed_mm:2": 0.0}
        for _ in range(3):
            assert machine.values(full(STATUS | {"heat": heat})) == others
        assert machine.told().count("no value for temp_c:manifold") == 1
        assert reason in machine.told()
        assert machine.values(full()) == others | {"temp_c:manifold": 210.5}
        assert "temp_c:manifold has a value again" in machine.told()

    @pytest.mark.parametrize("word", ["NaN", "Infinity", "-Infinity"])
    def test_what_is_not_json_is_refused_whole(self, word: str) -> None:
        """RFC 8259 section 6: NaN and Infinity are no JSON; the message may have been a change: void."""
        machine = Feeder(settings())
        machine.take(full())
        (refused,) = machine.take(part({"heat": {"now": 0}}).replace("0", word))
        assert isinstance(refused, Malformed)
        assert word in refused.reason
        assert machine.protocol.reconnect_reason is not None
        assert machine.take(part({})) == []
        machine.reconnect()
        assert machine.values(full())["temp_c:manifold"] == 210.5

    def test_number_beyond_all_numbers(self) -> None:
        """1e999 is JSON, but no number a machine can mean: no value, the rest stays."""
        machine = Feeder(settings())
        message = full().replace("210.5", "1e999")
        assert machine.values(message) == {"fed_mm:1": 0.0, "fed_mm:2": 0.0}
        assert machine.values(full().replace("210.5", "9" * 400)) == {"fed_mm:1": 0.0, "fed_mm:2": 0.0}

    def test_refused_message_harms_no_feed_of_whole_states(self) -> None:
        """Where every message is a whole status, a broken one is counted and the next one is as good as ever."""
        machine = Feeder(settings(messages=[FULL_RULE]))
        machine.take(full(), "{")
        assert machine.protocol.reconnect_reason is None
        assert machine.values(full()) == ALL

    def test_array_that_lost_an_element(self) -> None:
        """An array without its second element: no value for the second input, and none from another place."""
        machine = Feeder(settings())
        machine.take(full())
        assert machine.values(part({"feed": [{"run": 101.0}]})) == {"temp_c:manifold": 210.5}
        assert machine.protocol.reconnect_reason is not None, "the length changed: a full status must confirm it"

    def test_array_that_grew_is_believed_after_a_full_status(self) -> None:
        """A new length is doubted until a full status shows it again."""
        machine = Feeder(settings())
        machine.take(full())
        grown = STATUS | {"feed": [{"run": 7.0}, {"run": 101.0}, {"run": 50.0}]}
        assert machine.values(part(grown)) == {"temp_c:manifold": 210.5}
        machine.reconnect()
        assert "temp_c:manifold" in machine.values(full(grown))
        assert machine.protocol.reconnect_reason is None
        assert {"fed_mm:1", "fed_mm:2"} <= machine.values(full(grown)).keys()

    def test_changes_alone_never_confirm_a_new_length(self) -> None:
        """The same array read again after a further change is no second witness."""
        machine = Feeder(settings())
        machine.take(full())
        machine.take(part({"feed": [{"run": 7.0}, {"run": 101.0}, {"run": 50.0}]}))
        machine.protocol.reconnect_reason = None  # as if the link had taken its time
        assert machine.values(part({"heat": {"now": 211.0}})) == {"temp_c:manifold": 211.0}

    def test_element_with_another_name_is_never_taken(self) -> None:
        """Where elements carry names, another name at the place means another strand: no value, and what to do."""
        machine = Feeder(settings())
        one, two = {"id": "left", "run": 1.0}, {"id": "right", "run": 2.0}
        machine.take(full(STATUS | {"feed": [one, two]}))
        for _ in range(3):
            assert machine.values(full(STATUS | {"feed": [two, one]})) == {"temp_c:manifold": 210.5}
        assert "stands 'right' where 'left' stood: use find" in machine.told()
        assert machine.values(full(STATUS | {"feed": [one, two]})) == ALL

    @pytest.mark.parametrize("ids", [[], ["other"], ["melt", "melt"]])
    def test_no_or_several_matches(self, ids: list[str]) -> None:
        """A name that is not there, or twice, gives no value and says how many matches there were."""
        find = {"find": {"among": "/heaters", "where": "/id", "equals": "melt", "value": "/now"}}
        machine = Feeder(settings(channels=CHANNELS | {"temp_c:manifold": find}))
        status = STATUS | {"heaters": [{"id": name, "now": 200.0} for name in ids]}
        for _ in range(3):
            assert "temp_c:manifold" not in machine.values(full(status))
        assert f"{ids.count('melt')} matches" in machine.told()

    @pytest.mark.parametrize(("before", "after"), [(210.0, 410.0), (200.0, 473.15), (410.0, 210.0)])
    def test_changed_unit_is_told_and_not_converted(self, before: float, after: float) -> None:
        """A jump that is just the step between two units is told; the value stays what the machine said."""
        machine = Feeder(settings(), manifold=before)
        machine.take(full(STATUS | {"heat": {"now": before}}))
        assert "temp_c:manifold" not in machine.values(part({"heat": {"now": after}}))
        assert machine.values(part({"heat": {"now": after + 0.1}}))["temp_c:manifold"] == after + 0.1
        assert "as if the machine had changed" in machine.told()

    def test_partial_before_full_is_ignored(self) -> None:
        """A change without its status gives nothing; without a full status in time the link must ask anew."""
        machine = Feeder(settings(full_within_s=5.0))
        assert machine.take(part({"heat": {"now": 211.0}})) == []
        assert machine.protocol.elapse(5.0) == []
        assert machine.protocol.reconnect_reason is None
        machine.protocol.elapse(5.1)
        assert "no full status came within 5 s" in str(machine.protocol.reconnect_reason)

    def test_sequence_gap_voids_the_status(self) -> None:
        """RFC 6455 keeps order, not completeness of the sender: a missing number means unknown changes."""
        machine = Feeder(settings(messages=NUMBERED))
        machine.take(full(n=4), part({}, n=5))
        assert machine.take(part({"heat": {"now": 250.0}}, n=8)) == []
        assert machine.protocol.reconnect_reason == "messages 6 to 7 never came"
        machine.reconnect()
        assert machine.take(part({}, n=9)) == []
        assert machine.values(full(n=10)) == ALL

    @pytest.mark.parametrize("number", [None, "6", True, 6.5, [6]])
    def test_change_without_its_number(self, number: Json) -> None:
        """A change that should carry a number and does not cannot be put in order: the status is void."""
        machine = Feeder(settings(messages=NUMBERED))
        machine.take(full(n=5), part({}, n=number))
        assert "without its number" in str(machine.protocol.reconnect_reason)

    @pytest.mark.parametrize("content", ["text", [1], None])
    def test_patch_that_fails(self, content: Json) -> None:
        """A change that does not fit its status voids it."""
        machine = Feeder(settings(messages=[FULL_RULE, PART_RULE | {"change": "json_patch"}]))
        machine.take(full(), part(content))
        assert "a change does not fit the status" in str(machine.protocol.reconnect_reason)

    def test_duplicates_and_late_ones_are_dropped(self) -> None:
        """A number that was there already changes nothing."""
        machine = Feeder(settings(messages=NUMBERED))
        machine.take(full(n=5), part({"heat": {"now": 211.0}}, n=6))
        assert machine.take(part({"heat": {"now": 300.0}}, n=6)) == []
        assert machine.take(part({"heat": {"now": 300.0}}, n=5)) == []
        assert machine.values(part({}, n=7))["temp_c:manifold"] == 211.0
        assert machine.protocol.reconnect_reason is None

    def test_numbers_that_begin_anew(self) -> None:
        """Late numbers that do not end are a counter that began anew, not repeats: ask for a full status."""
        machine = Feeder(settings(messages=NUMBERED))
        machine.take(full(n=65535), part({}, n=0), part({}, n=1), part({}, n=2))
        assert "went back from 65535 to 2" in str(machine.protocol.reconnect_reason)

    def test_without_numbers_a_full_status_is_fetched_now_and_then(self) -> None:
        """Where nothing shows a loss, `resync_every_s` connects anew, as planned and not as a fault."""
        machine = Feeder(settings(resync_every_s=60.0))
        for _ in range(60):
            machine.take(full())
            machine.protocol.elapse(machine.time_s)
        assert machine.reason() == ""
        machine.protocol.elapse(60.5)
        assert machine.reason() == "it is time for a new full status"
        assert machine.protocol.is_planned

    def test_sender_clock_that_goes_back_is_a_restart(self) -> None:
        """A full status with an earlier clock: the machine restarted; feed is counted on, from a new baseline."""
        machine = Feeder(settings())
        machine.take(full(s=1000.0), part({"feed": [{"run": 110.0}, {"run": 50.0}]}, s=1001.0))
        machine.reconnect()
        reset = STATUS | {"feed": [{"run": 112.0}, {"run": 0.0}]}
        assert machine.values(full(reset, s=3.0)) == ALL | {"fed_mm:1": 10.0}
        assert "the machine restarted (its clock went back from 1001 s to 3 s)" in machine.told()
        assert all(change.available for change in machine.events if isinstance(change, LinkChange))

    def test_change_from_a_restarted_sender(self) -> None:
        """A change with an earlier clock belongs to a status that is not known: void, and baselines with it."""
        machine = Feeder(settings())
        machine.take(full(s=1000.0), part({}, s=2.0))
        assert "the machine restarted" in str(machine.protocol.reconnect_reason)
        machine.reconnect()
        assert machine.values(full(STATUS | {"feed": [{"run": 103.0}, {"run": 50.0}]}, s=3.0)) == ALL

    def test_clock_set_right_is_no_restart(self) -> None:
        """A step back of less than a second is a clock that was set, not a machine that restarted."""
        machine = Feeder(settings())
        machine.take(full(s=1000.0), part({}, s=999.5))
        assert machine.protocol.reconnect_reason is None
        assert machine.told() == ""

    def test_repeated_values_are_fresh(self) -> None:
        """The same values again are a new sample: a message came."""
        machine = Feeder(settings())
        assert machine.values(full()) == machine.values(full()) == ALL

    def test_many_messages(self) -> None:
        """Every message is merged, samples come at most four times a second, and the last state is never held back."""
        protocol = WebsocketProtocol(settings())
        protocol.opened(0.0)
        events = protocol.receive(full(), 0.0)
        for number in range(1, 1001):
            events += protocol.receive(part({"heat": {"now": 200.0 + number / 100}}), number / 1000)
        events += protocol.elapse(1.0 + SAMPLE_SPACING_S)
        samples = [event for event in events if isinstance(event, Sample)]
        assert len(samples) <= 1 + 1.0 / SAMPLE_SPACING_S + 1
        assert samples[-1].values["temp_c:manifold"] == 210.0

    @pytest.mark.parametrize("deep", [DEEPEST + 1, 100_000])
    @pytest.mark.parametrize("brackets", ["[]", "{}"])
    def test_deep_nesting(self, deep: int, brackets: str) -> None:
        """Nesting without end is refused, not followed until the stack runs out."""
        head = brackets[0] if brackets == "[]" else '{"a":'
        (refused,) = Feeder(settings()).take(head * deep + "1" + brackets[1] * deep)
        assert isinstance(refused, Malformed)
        assert "nested deeper" in refused.reason

    def test_status_that_grows_without_end(self) -> None:
        """Changes that nest the status into itself are stopped: doubling forty times would never end."""
        machine = Feeder(settings(messages=[FULL_RULE, PART_RULE | {"change": "json_patch"}]))
        machine.take(full({"a": [1]}))
        machine.take(part([{"op": "copy", "from": "/a", "path": "/a/-"}] * 40))
        assert "beyond all measure" in str(machine.protocol.reconnect_reason)

    def test_member_twice(self) -> None:
        """RFC 8259 section 4: what one name with two values means is unpredictable, so it is refused."""
        machine = Feeder(settings(messages=[FULL_RULE]))
        (refused,) = machine.take('{"t": "all", "t": "chg"}')
        assert isinstance(refused, Malformed)
        assert "two members 't'" in refused.reason
        assert machine.values(full().replace('"t": "all"', '"t": "all", "t": "all"')) == ALL


class TestSilence:
    """What no message means."""

    def test_silence_is_a_gap(self) -> None:
        """By default silence gives no sample, and after its time the link must connect anew."""
        machine = Feeder(settings(stale_after_s=10.0))
        machine.take(full())
        assert not machine.protocol.wants_proof(9.0)
        assert machine.protocol.proven_alive(9.0) == []
        assert machine.protocol.elapse(19.0) == []
        assert machine.protocol.reconnect_reason is None
        machine.protocol.elapse(19.1)
        assert machine.protocol.reconnect_reason == "nothing came for 10 s"

    def test_silence_is_no_change_while_pings_are_answered(self) -> None:
        """With silent_means = "unchanged" each answered ping repeats the values; without answers it is a gap too."""
        machine = Feeder(settings(stale_after_s=10.0, silent_means="unchanged"))
        machine.take(full())
        assert not machine.protocol.wants_proof(1.5)
        assert machine.protocol.wants_proof(2.0)
        (sample,) = machine.protocol.proven_alive(2.1)
        assert isinstance(sample, Sample)
        assert (sample.time_s, dict(sample.values)) == (2.1, ALL)
        assert machine.protocol.elapse(12.0) == []
        machine.protocol.elapse(12.2)
        assert machine.protocol.reconnect_reason == "nothing came for 10 s"

    def test_sign_of_life(self) -> None:
        """An ignored message is a sign of life: it renews nothing by default, and the values where silence holds."""
        alive = json.dumps({"alive": 1})
        machine = Feeder(settings())
        machine.take(full())
        assert machine.take(alive) == []
        assert machine.protocol.elapse(11.5) == []
        assert machine.protocol.reconnect_reason is None
        unchanged = Feeder(settings(silent_means="unchanged"))
        unchanged.take(full())
        assert unchanged.values(alive) == ALL

    def test_plain_text_to_ignore(self) -> None:
        """A text that is no JSON voids nothing when the profile names it."""
        rules = [FULL_RULE, PART_RULE, {"means": "ignore", "text": "PONG"}]
        machine = Feeder(settings(messages=rules))
        assert machine.values(full()) == ALL
        assert machine.take("PONG") == []
        assert machine.protocol.reconnect_reason is None
        machine.take("PING")
        assert machine.protocol.reconnect_reason is not None


class TestRules:
    """Which message means what."""

    def test_message_that_fits_no_rule(self) -> None:
        """It is counted and told, at most once a second; nothing is taken from it."""
        protocol = WebsocketProtocol(settings())
        protocol.opened(0.0)
        events = [
            event for _ in range(5) for event in protocol.receive('{"t": "\x1b[2J"}'.replace("\x1b", "\\u001b"), 1.0)
        ]
        (told,) = events
        assert isinstance(told, Malformed)
        assert "fits no message rule" in told.reason
        (more,) = protocol.receive('{"t": "?"}', 3.0)
        assert isinstance(more, Malformed)
        assert "4 more" in more.reason

    def test_refusal_in_the_machines_own_words(self) -> None:
        """An answer that turns the greeting down is told as the machine told it, cleaned."""
        machine = Feeder(example("rpc", token_file=None), cold_end=45.0)
        machine.take(json.dumps({"jsonrpc": "2.0", "id": 1, "error": {"code": -1, "message": "who \x1b[2J are you"}}))
        assert machine.protocol.reconnect_reason is not None
        assert "turned down what was sent on connect: who ␛[2J are you" in machine.protocol.reconnect_reason

    def test_full_status_without_content(self) -> None:
        """The answer fits its rule, but the status is not where the profile says."""
        machine = Feeder(settings())
        (told,) = machine.take('{"t": "all"}')
        assert isinstance(told, Malformed)
        assert "a full status without its content: /d is missing" in told.reason

    def test_equals_tells_numbers_from_truth(self) -> None:
        """`equals = 1` is no `true`: JSON's types differ."""
        machine = Feeder(settings(messages=[FULL_RULE | {"when": "/id", "equals": 1}]))
        assert machine.values(json.dumps({"id": True, "d": STATUS})) == {}
        assert machine.values(json.dumps({"id": 1.0, "d": STATUS})) == ALL

    def test_batch(self) -> None:
        """JSON-RPC 2.0 section 6: an array of messages is each of them in order, one sample at the end."""
        machine = Feeder(settings(messages=NUMBERED))
        batch = f"[{full(n=1)}, {part({'heat': {'now': 220.0}}, n=2)}]"
        assert machine.values(batch) == ALL | {"temp_c:manifold": 220.0}
        assert machine.protocol.receive("[]", 9.0) != []

    def test_server_that_never_tells_everything(self) -> None:
        """Without a rule for full messages the status begins empty and grows part by part."""
        rules = [
            {"means": "partial", "when": "/heat", "at": "/heat", "into": "/heat"},
            {"means": "partial", "when": "/feed", "at": "/feed", "into": "/a/b", "change": "replace"},
        ]
        channels = {"temp_c:manifold": {"pointer": "/heat/now"}, "fed_mm:1": {"pointer": "/a/b/0"}}
        machine = Feeder(settings(messages=rules, channels=channels), manifold=100.0)
        assert machine.values('{"heat": {"now": 99}}') == {"temp_c:manifold": 99.0}
        assert machine.values('{"feed": [3]}') == {"temp_c:manifold": 99.0, "fed_mm:1": 0.0}

    def test_bytes_are_read_like_text(self) -> None:
        """A binary message with JSON in UTF-8 is taken; other bytes are refused."""
        machine = Feeder(settings(messages=[FULL_RULE]))
        assert machine.values(full().encode()) == ALL
        (refused,) = machine.take(b"\xff\xfe{}")
        assert isinstance(refused, Malformed)
        assert refused.reason == "not UTF-8"


def rpc(method: str, **params: Json) -> str:
    return json.dumps({"jsonrpc": "2.0", "method": method, "params": params})


def test_example_with_remote_calls() -> None:
    """The example with JSON-RPC: answer, changes by index, null as a value, percent, words, a wheel's counts."""
    machine = Feeder(example("rpc", token_file=None), cold_end=45.0)
    status = {
        "heat": {
            "manifold": {"now": 215.2, "goal": 215.0, "power": 41.5},
            "block/rear": {"now": 46.0},
        },
        "feed": [{"run": 10.0, "wheel": 200, "blocked": False}, {"run": 5.0, "blocked": True}],
        "job": {"done": 12.5, "state": "running"},
    }
    answer = json.dumps({"jsonrpc": "2.0", "id": 1, "result": {"status": status, "uptime": 50.0}})
    (first,) = machine.take(answer)
    assert isinstance(first, Sample)
    assert first.execution is Execution.ACTIVE
    assert first.values == pytest.approx(
        {
            "temp_c:manifold": 215.2,
            "set_c:manifold": 215.0,
            "duty:manifold": 0.415,
            "temp_c:cold_end": 46.0,
            "fed_mm:1": 0.0,
            "fed_mm:2": 0.0,
            "sensed_mm:1": 0.0,
            "stall:1": 0.0,
            "stall:2": 1.0,
            "progress": 0.125,
        }
    )
    change = {"heat": {"manifold": {"now": None, "goal": None}}, "feed": [{"run": 12.0, "wheel": 240}]}
    assert machine.take(rpc("watch.alive")) == []
    (second,) = machine.take(rpc("watch.change", change=change, uptime=51.0, number=1))
    assert isinstance(second, Sample)
    assert "temp_c:manifold" not in second.values
    assert second.values["set_c:manifold"] == 0.0
    assert second.values["fed_mm:1"] == second.values["sensed_mm:1"] == 2.0
    assert second.values["fed_mm:2"] == 0.0


def test_example_with_pairs() -> None:
    """The example with pairs: by name, tenths, quoted Fahrenheit, micrometres that wrap, codes for the state."""
    machine = Feeder(example("pairs"), bed=60.0)
    status = {
        "heaters": [{"id": "melt-right", "t10": 20, "goal10": 0}, {"id": "melt-left", "t10": 2103, "goal10": 2100}],
        "bed_f": "140.0",
        "ext_um": [4294960000, 17],
        "drive_words": ["ok"],
        "job": {"at_byte": 1000, "share": 0.25, "code": 1},
    }
    (first,) = machine.take(json.dumps({"t": "all", "d": status, "ms": 9000, "n": 7}))
    assert isinstance(first, Sample)
    assert first.execution is Execution.ACTIVE
    assert first.values == pytest.approx(
        {
            "temp_c:manifold": 210.3,
            "set_c:manifold": 210.0,
            "temp_c:bed": 60.0,
            "fed_mm:1": 0.0,
            "fed_mm:2": 0.0,
            "stall:1": 0.0,
            "file_byte": 1000.0,
            "progress": 0.25,
        }
    )
    pairs = [["bed_f", "141.8"], ["/ext_um/0", 5000], ["/drive_words/0", "blocked"]]
    moved = machine.values(json.dumps({"t": "chg", "d": pairs, "ms": 9250, "n": 8}))
    wrapped_mm = (5000 + 4294967296 - 4294960000) / 1000
    assert moved["fed_mm:1"] == pytest.approx(wrapped_mm)
    assert moved["temp_c:bed"] == pytest.approx(61.0)
    assert moved["stall:1"] == 1.0
    swap = [{"op": "move", "from": "/heaters/1", "path": "/heaters/0"}]
    assert machine.values(json.dumps({"t": "ops", "d": swap, "ms": 9500, "n": 9}))["temp_c:manifold"] == pytest.approx(
        210.3
    )
    (last,) = machine.take(json.dumps({"t": "job", "d": {"code": 3}, "ms": 9750, "n": 10}))
    assert isinstance(last, Sample)
    assert last.execution is Execution.PROGRAM_COMPLETED
    assert "file_byte" not in last.values


JSON_VALUE = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from("tdnsabop") | st.text(max_size=3), inner)
    ),
    max_leaves=10,
)
MESSAGE = st.one_of(
    st.text(),
    st.binary(),
    JSON_VALUE.map(json.dumps),
    st.builds(
        lambda kind, content, number, clock: json.dumps(
            {"t": kind, "d": content, "n": number, "s": clock, "ms": clock}
        ),
        st.sampled_from(["all", "chg", "ops", "job"]),
        JSON_VALUE
        | st.lists(st.tuples(st.sampled_from(["/ext_um/0", "bed_f", "/heaters/0"]), JSON_VALUE))
        | st.lists(
            st.fixed_dictionaries({"op": st.sampled_from(["add", "remove", "copy"]), "path": st.text(max_size=4)})
        ),
        st.none() | st.integers(0, 9) | JSON_VALUE,
        st.none() | st.floats() | JSON_VALUE,
    ),
)


@given(st.lists(MESSAGE, max_size=12), st.sampled_from(["small", "pairs", "rpc"]))
@hypothesis_settings(max_examples=300, deadline=None)
def test_nothing_received_raises(messages: list[str | bytes], machine: str) -> None:
    """Whatever arrives: no error, only finite values of mapped channels, and only text that can be shown."""
    mapped = settings() if machine == "small" else example(machine, token_file=None)
    feeder = Feeder(mapped)
    for message in messages:
        feeder.take(message)
        feeder.events += feeder.protocol.elapse(feeder.time_s + 0.5)
        if feeder.protocol.reconnect_reason is not None:
            assert feeder.protocol.reconnect_reason.isprintable()
            feeder.reconnect()
    for event in feeder.events:
        if isinstance(event, Sample):
            assert event.values.keys() <= mapped.channels.keys()
            assert all(math.isfinite(value) for value in event.values.values())
    assert feeder.told().replace("\n", "").isprintable()


def _cold(**changes: Any) -> Feeder:  # noqa: ANN401 -- any key of the settings
    """A feeder of which nothing was believed before."""
    feeder = Feeder(settings(**changes))
    feeder.protocol = WebsocketProtocol(settings(**changes))
    feeder.protocol.opened(0.0)
    return feeder


class TestGate:
    """Temperatures pass the same gate as those of a serial line."""

    @pytest.mark.parametrize("odd_c", [21.0, 899.0])
    def test_one_odd_reading_passes_unseen(self, odd_c: float) -> None:
        """Neither a low nor a high one is believed by itself, and it is no fault; the true ones go on."""
        machine = Feeder(settings())
        assert machine.values(full())["temp_c:manifold"] == 210.5
        assert "temp_c:manifold" not in machine.values(part({"heat": {"now": odd_c}}))
        assert machine.values(part({"heat": {"now": 210.0}}))["temp_c:manifold"] == 210.0
        assert "no value" not in machine.told()

    def test_what_was_only_read_again_confirms_nothing(self) -> None:
        """A message about something else leaves the odd value in the status: that is no second report."""
        machine = Feeder(settings())
        machine.take(full(), part({"heat": {"now": 899.0}}))
        assert "temp_c:manifold" not in machine.values(part({"feed": [{"run": 101.0}, {"run": 50.0}]}))

    def test_what_stands_long_enough_or_is_told_again_is_believed(self) -> None:
        """A machine that tells changes only stands by what it does not change; a full status tells it again."""
        machine = Feeder(settings())
        machine.take(full(), part({"heat": {"now": 60.0}}), part({}))
        assert machine.values(part({}))["temp_c:manifold"] == 60.0
        cold = _cold()
        assert "temp_c:manifold" not in cold.values(full())
        assert cold.values(full())["temp_c:manifold"] == 210.5

    def test_limits_of_the_link_hold_unless_the_channel_says_otherwise(self) -> None:
        """The keys are those of a serial line; an open sensor's -14 °C is absent with its reason by default."""
        frost = {"heat": {"now": -14.0}}
        machine = Feeder(settings())
        assert "temp_c:manifold" not in machine.values(*[full(STATUS | frost)] * 4)
        assert "-14 is outside 0 to 900" in machine.told()
        assert _cold(lowest_c=-30.0).values(*[full(STATUS | frost)] * 2)["temp_c:manifold"] == -14.0
        own = {"temp_c:manifold": {"pointer": "/heat/now", "min": -30.0}}
        assert _cold(channels=own).values(*[full(STATUS | frost)] * 2)["temp_c:manifold"] == -14.0
        assert "temp_c:manifold" not in Feeder(settings(highest_c=200.0)).values(*[full()] * 4)

    def test_a_sensor_that_fails_while_it_is_held_is_told(self) -> None:
        """Being held is no fault, but does not hide the one that follows."""
        machine = Feeder(settings())
        machine.take(full(), part({"heat": {"now": 899.0}}), *[full(STATUS | {"heat": {"now": 9999}})] * 3)
        assert "no value for temp_c:manifold: 9999 is outside" in machine.told()

    def test_a_faster_change_than_the_link_allows_is_held(self) -> None:
        """With 5 K/s, 30 K within a second need a second report."""
        machine = Feeder(settings(fastest_k_s=5.0))
        machine.take(full())
        assert "temp_c:manifold" not in machine.values(part({"heat": {"now": 180.0}}))
        assert machine.values(part({"heat": {"now": 178.0}}))["temp_c:manifold"] == 178.0
