"""Logs of a serial line, and captured messages of a websocket, one a line -> events.

Owns what both have in common: stamps, silence, counting what was not understood. The words themselves are the
connectors' business: lines go through the same protocols as on a live link, which are handed to this module. Pure.
"""

from collections.abc import Iterable, Iterator
from datetime import datetime
from itertools import chain, islice
from typing import Final, Protocol

from connectors.link_health import without_count
from connectors.serial_protocol import RESTART_BY_OPENING_S, SerialProtocol
from connectors.serial_settings import SerialSettings
from connectors.telemetry import Event, LinkChange, Malformed, Tick
from connectors.websocket_protocol import WebsocketProtocol
from connectors.websocket_settings import WebsocketSettings
from monitor.importing.cells import CellError
from monitor.importing.import_map import LineMarks
from monitor.importing.silence import ticks_between
from monitor.importing.source_file import Line
from monitor.importing.stamps import LOOKED_AT, StampReader, find_form
from monitor.importing.tally import Tally

_NEVER_S: Final = 1e12

Numbered = tuple[int, Event]


class Voice(Protocol):
    """Understands what the machine said."""

    def begin(self) -> list[Event]:
        """Events of the first moment."""
        ...

    def hear(self, content: bytes, time_s: float) -> list[Event]:
        """Events of one line."""
        ...

    def elapse(self, time_s: float) -> list[Event]:
        """Events due without a line."""
        ...


class SerialVoice:
    """Lines of a serial controller."""

    def __init__(self, settings: SerialSettings) -> None:
        self._protocol = SerialProtocol(settings)

    def begin(self) -> list[Event]:
        """The log begins: what the controller did before is not known, nor whether a port was opened then."""
        self._protocol.opened(-RESTART_BY_OPENING_S - 1e-3)
        reason = "the log begins"
        if self._protocol.lacks_tool:
            reason += "; which input feeds is not known until the controller names its active tool"
        return [LinkChange(0.0, available=True, reason=reason)]

    def hear(self, content: bytes, time_s: float) -> list[Event]:
        """Events of one line."""
        return self._protocol.receive(content + b"\n", time_s)

    def elapse(self, time_s: float) -> list[Event]:
        """Events due in a silence."""
        return self._protocol.elapse(time_s)


class WebsocketVoice:
    """Messages of a websocket.

    In a capture there is no connection to renew: where a live link would connect anew because the status is no longer
    known, what follows counts as another connection, so that nothing is taken until a full status comes.
    """

    def __init__(self, settings: WebsocketSettings) -> None:
        self._settings = settings.model_copy(
            update={"resync_every_s": None, "stale_after_s": _NEVER_S, "full_within_s": _NEVER_S}
        )
        self._protocol = WebsocketProtocol(self._settings)

    def begin(self) -> list[Event]:
        """The capture begins."""
        self._protocol.opened(0.0)
        return [LinkChange(0.0, available=True, reason="the captured messages begin")]

    def hear(self, content: bytes, time_s: float) -> list[Event]:
        """Events of one message."""
        if len(content) > self._settings.max_message_bytes:
            return [Malformed(time_s, "a message longer than max_message_bytes", "")]
        events = self._protocol.receive(content.decode("utf-8", "replace").strip(), time_s)
        return events + self._renewed(time_s)

    def elapse(self, time_s: float) -> list[Event]:
        """Events due in a silence."""
        return self._protocol.elapse(time_s)

    def _renewed(self, time_s: float) -> list[Event]:
        reason = self._protocol.reconnect_reason
        if reason is None:
            return []
        self._protocol.opened(time_s)
        return [
            LinkChange(time_s, available=False, reason=reason),
            LinkChange(
                time_s, available=True, reason="the capture goes on; nothing is taken until a full status comes"
            ),
        ]


class LineReader:
    """Reads one log from the top; `tally`, `form` and `start` then tell what was understood."""

    def __init__(self, voice: Voice, marks: LineMarks) -> None:
        self.tally = Tally()
        self.form = "none"
        """Form of the time stamps."""
        self.start: datetime | None = None
        self._voice, self._marks = voice, marks
        self._passed_over = 0
        self._last_s: float | None = None

    @property
    def notes(self) -> Iterator[str]:
        """What the owner should know of how the lines were taken."""
        if self.form == "none":
            yield f"no time stamps: one line every {self._marks.spacing_s or 0.0:g} s, as you said"
        else:
            yield f"time stamps: {self.form}"
        if self._passed_over:
            yield f"lines passed over because the machine did not speak them: {self._passed_over}"

    def events(self, lines: Iterable[Line]) -> Iterator[Numbered]:
        """Events with the number of the line that each comes from.

        Raises
        ------
        WrongUseError
            When lines have no time stamps and no spacing was given.
        """
        rest = iter(lines)
        first = list(islice(rest, LOOKED_AT))
        self.form = self._marks.stamps or find_form(line.content for line in first)
        stamps = StampReader(self._marks, self.form)
        yield from ((1, event) for event in self._voice.begin())
        for line in chain(first, rest):
            if line.content.strip():
                yield from self._line(line, stamps)
        self.start = stamps.start

    def _line(self, line: Line, stamps: StampReader) -> Iterator[Numbered]:
        if not line.is_whole:
            self.tally.take("longer than 1 MiB", line.number, line.content)
            return
        try:
            said = stamps.take(line.content)
        except CellError as error:
            self.tally.take(str(error), line.number, line.content)
            return
        if said is None:
            self._passed_over += 1
            return
        for event in chain(self._silence(said.time_s), self._voice.hear(said.content, said.time_s)):
            if isinstance(event, Malformed):
                self.tally.take(without_count(event.reason), line.number, line.content)
            yield line.number, event

    def _silence(self, time_s: float) -> Iterator[Event]:
        for tick in ticks_between(self._last_s, time_s):
            yield from self._voice.elapse(tick.time_s)
            yield Tick(tick.time_s)
        self._last_s = time_s
