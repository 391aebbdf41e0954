"""A serial controller's conversation, without any wire: bytes in, events out, and which query may go out next.

Pure: time comes with each call. Owns the order in which framing, grammar, the mapping to channels and the asking of
queries work together. Nothing a controller sends can raise; what cannot be used is counted and reported.
"""

from collections.abc import Callable
from typing import Any, Final

from connectors.clean_text import clean_text
from connectors.framing import Dropped, Framer
from connectors.link_health import Complaints, LinkHealth
from connectors.serial_documents import read_document
from connectors.serial_lines import may_have_told_tool, read_line
from connectors.serial_queries import BUSY_CALM_S, ERROR_CALM_S, Asker, Query
from connectors.serial_samples import SerialSamples, Values
from connectors.serial_settings import SerialSettings
from connectors.serial_words import (
    Action,
    ActiveTool,
    Busy,
    Document,
    Failure,
    Flow,
    Note,
    Position,
    Resend,
    Restart,
    Storage,
    Temperatures,
    Unknown,
    Unreadable,
)
from connectors.telemetry import Event, Execution, LinkChange, Sample

RESTART_BY_OPENING_S: Final = 5.0
"""A start banner within this time [s] of our opening the port was caused by it."""
ERRORS_TOLD_EVERY_S: Final = 5.0

_TOOL_LOST: Final = (
    "; it may have told another tool, so which input feeds is not known until the controller names its tool again"
)

_RUN_IN: Final = "looks like a change of the tool, but does not fit from end to end"

_ADVICE: Final = {
    "listen": "in listen mode only what the controller reports by itself is heard; turn on its automatic temperature "
    'report, or set mode = "ask"',
    "ask": "is the machine on, is this the right port, and is the speed right?",
}


class SerialProtocol:
    """One controller on one serial line.

    Call `opened` and `closed` as the port comes and goes, `receive` with whatever arrives, and at least once a second
    `elapse` and `poll`.
    """

    def __init__(self, settings: SerialSettings) -> None:
        self._settings = settings
        self._framer = Framer()
        self._samples = SerialSamples(settings)
        self._asker = Asker(settings)
        self._health = LinkHealth(settings.silent_after_s, settings.baud, _ADVICE[settings.mode])
        self._complaints = Complaints()
        self._opened_s = float("-inf")
        self._tell_error_s = float("-inf")
        self._has_given_up = False
        self.restarted_by_opening = False
        """Whether the controller was seen to restart because its port was opened."""
        self._handlers: dict[type, Callable[[Any, float], list[Event]]] = {
            Restart: self._restart,
            Temperatures: self._temperatures,
            Position: self._position,
            Document: self._document,
            Storage: self._storage,
            Busy: self._busy,
            Action: self._action,
            ActiveTool: self._tool,
            Flow: self._flow,
            Resend: self._resend,
        }

    @property
    def counts(self) -> dict[str, int]:
        """How often input of each kind could not be used, and how often a feed counter was re-based."""
        return {**self._complaints.counts, "feed_rebased": self._samples.ledger.rebased}

    @property
    def lacks_tool(self) -> bool:
        """Whether feed cannot be told because the active tool is not known."""
        return self._samples.lacks_tool

    def opened(self, time_s: float) -> bool:
        """The port was opened: what the controller did while out of sight is not known. Tell if it is the first."""
        is_first = self._opened_s == float("-inf")
        self._opened_s = time_s
        self._framer.clear()
        self._asker.restart()
        self._health.restart(time_s)
        self._samples.restart(is_tool_known=is_first)
        return is_first

    def receive(self, data: bytes, time_s: float) -> list[Event]:
        """Events in bytes that arrived at `time_s` [s], however they were cut."""
        self._health.take_bytes(data, time_s)
        events: list[Event] = []
        for line in self._framer.feed(data, time_s):
            events += self._line(line, time_s)
        return [*events, *self._health.check(time_s)]

    def elapse(self, time_s: float) -> list[Event]:
        """Events due at `time_s` [s] without anything having arrived."""
        events: list[Event] = []
        for line in self._framer.expire(time_s):
            events += self._line(line, time_s)
        return [*events, *_sample(self._samples.elapse(time_s), time_s), *self._health.check(time_s)]

    def poll(self, time_s: float) -> Query | None:
        """The query to send now, or None. In listen mode always None."""
        return self._asker.next_query(time_s)

    def _line(self, line: bytes | Dropped, time_s: float) -> list[Event]:
        if isinstance(line, Dropped):
            return self._unusable("dropped", line.reason, line.excerpt, time_s, may_tell_tool=True)
        reply = read_line(line)
        if isinstance(reply, Unreadable):
            kind = "garbage" if reply.is_garbage else "malformed"
            return self._unusable(kind, reply.reason, line, time_s, may_tell_tool=self._may_have_told_tool(line))
        self._health.take_readable(time_s)
        if isinstance(reply, Unknown | Note | Failure):
            return self._text(reply, line, time_s)
        handler = self._handlers.get(type(reply))
        return [] if handler is None else handler(reply, time_s)

    def _text(self, reply: Unknown | Note | Failure, line: bytes, time_s: float) -> list[Event]:
        """Free text: a pattern of the owner may know it."""
        events: list[Event] = []
        values = self._samples.pattern(line.decode("latin-1").strip("\0 \t"), time_s)
        if values is not None:
            events += _sample(values, time_s)
        elif _may_hide_tool(reply) and may_have_told_tool(line):
            events += self._unusable("malformed", _RUN_IN, line, time_s, may_tell_tool=True)
        elif isinstance(reply, Unknown):
            events += self._complaints.take("unknown", "fits no known form of reply", line, time_s)
        if isinstance(reply, Failure):
            events += self._failure(reply, time_s)
        elif "nknown command" in reply.text:
            events += self._told(self._asker.refused(reply.text), time_s)
        return events

    def _may_have_told_tool(self, line: bytes) -> bool:
        is_document = line.removeprefix(b"ok").lstrip().startswith(b"{")
        return (is_document and self._settings.json_places.tool is not None) or may_have_told_tool(line)

    def _unusable(self, kind: str, reason: str, line: bytes, time_s: float, *, may_tell_tool: bool) -> list[Event]:
        """Count and tell a damaged line; feed must not go on to a tool that it may have ended."""
        is_grave = may_tell_tool and self._samples.lose_tool()
        told = reason + _TOOL_LOST if is_grave else reason
        return [*self._complaints.take(kind, told, line, time_s, is_grave=is_grave)]

    def _restart(self, _: Restart, time_s: float) -> list[Event]:
        self._samples.restart(is_tool_known=True)
        self._asker.restart()
        self._asker.hold(time_s, BUSY_CALM_S)
        reason = "the controller restarted"
        if time_s - self._opened_s <= RESTART_BY_OPENING_S:
            self.restarted_by_opening = True
            reason = (
                "OPENING THIS PORT RESTARTED THE CONTROLLER: a running build is lost. Keep open_is_safe = false, start "
                "the watch only while no build is running, and see the reset hazard in connectors/README.md"
            )
        return [
            LinkChange(time_s, available=True, reason=reason, feed_unknown=True),
            Sample(time_s, {}, self._samples.build.restart()),
        ]

    def _temperatures(self, reply: Temperatures, time_s: float) -> list[Event]:
        if reply.is_waiting:
            self._asker.hold(time_s, BUSY_CALM_S)
        values, changes = self._samples.temperatures(reply, time_s)
        if self._has_given_up and values:
            self._has_given_up = False
            changes.append(LinkChange(time_s, available=True, reason="the controller reports temperatures again"))
        return [*_sample(values, time_s), *changes, *self._answered(Query.TEMPERATURES, time_s)]

    def _position(self, reply: Position, time_s: float) -> list[Event]:
        return _sample(self._samples.position(reply, time_s), time_s) + self._answered(Query.POSITION, time_s)

    def _document(self, reply: Document, time_s: float) -> list[Event]:
        events: list[Event] = []
        for said in read_document(reply, self._settings.sensors, self._settings.json_places):
            events += self._handlers[type(said)](said, time_s)
        return events

    def _storage(self, reply: Storage, time_s: float) -> list[Event]:
        execution = self._samples.build.advance(reply)
        values = self._samples.storage(reply)
        return _sample(values, time_s, execution) + self._answered(Query.PROGRESS, time_s)

    def _failure(self, reply: Failure, time_s: float) -> list[Event]:
        self._asker.hold(time_s, ERROR_CALM_S)
        self._complaints.counts["error"] += 1
        if reply.is_fatal:
            self._has_given_up = True
            reason = f"the controller gave up: {reply.text}"
            return [LinkChange(time_s, available=False, reason=reason), Sample(time_s, {}, Execution.STOPPED)]
        if time_s < self._tell_error_s:
            return []
        self._tell_error_s = time_s + ERRORS_TOLD_EVERY_S
        return [LinkChange(time_s, available=True, reason=f"the controller reports an error: {reply.text}")]

    def _busy(self, reply: Busy, time_s: float) -> list[Event]:
        self._asker.hold(time_s, BUSY_CALM_S)
        run_in = b"busy:" + reply.why.encode()
        events: list[Event] = []
        if may_have_told_tool(run_in):
            events += self._unusable("malformed", _RUN_IN, run_in, time_s, may_tell_tool=True)
        return events + _sample({}, time_s, self._samples.build.be_busy(reply.why))

    def _action(self, reply: Action, time_s: float) -> list[Event]:
        return _sample({}, time_s, self._samples.build.act(reply.name))

    def _tool(self, reply: ActiveTool, _: float) -> list[Event]:
        self._samples.select(reply.tool)
        return []

    def _flow(self, reply: Flow, _: float) -> list[Event]:
        self._samples.ledger.scale_flow(reply.tool, reply.percent / 100)
        return []

    def _resend(self, _: Resend, time_s: float) -> list[Event]:
        self._complaints.counts["resend"] += 1
        self._asker.hold(time_s, ERROR_CALM_S)
        return []

    def _answered(self, query: Query, time_s: float) -> list[Event]:
        return self._told(self._asker.answered(query, time_s), time_s)

    def _told(self, reason: str | None, time_s: float) -> list[Event]:
        return [] if reason is None else [LinkChange(time_s, available=True, reason=clean_text(reason))]


def _may_hide_tool(reply: Unknown | Note | Failure) -> bool:
    """Whether another line may have run into this text; a comment is the controller's own and may say anything."""
    return not isinstance(reply, Note) or reply.is_echo


def _sample(values: Values, time_s: float, execution: Execution | None = None) -> list[Event]:
    return [Sample(time_s, values, execution)] if values or execution is not None else []
