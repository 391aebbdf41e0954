"""Messages of a websocket -> events. Puts status, order, channels and silence together.

Pure: time comes with each call, and remote input never raises. What cannot be mended here is said in
`reconnect_reason`: the link then connects anew, because only a full status helps.
"""

from dataclasses import replace
from math import inf
from typing import Final

from connectors.channel_memory import ChannelMemory
from connectors.channel_reading import ChannelReader
from connectors.clean_text import clean_text
from connectors.json_pointer import Json
from connectors.link_health import Complaints
from connectors.plausibility import TemperatureGate
from connectors.status_document import NotUsableError, StatusDocument, StatusLostError
from connectors.strict_json import NotJsonError, read_json
from connectors.telemetry import Event, Execution, LinkChange, Sample
from connectors.websocket_channels import COUNTER_KINDS, ChannelSource
from connectors.websocket_settings import WebsocketSettings

SAMPLE_SPACING_S: Final = 0.25
"""Every message is taken, but samples come at most this often [s]."""

PROOF_SPACING_S: Final = 1.0
"""Where silence means "unchanged": how often the connection is asked whether it lives [s]."""

_SHOWN: Final = 400


class WebsocketProtocol:
    """Follows one machine over all its connections.

    Parameters
    ----------
    settings : WebsocketSettings
        The `[link]` table of the profile.
    """

    def __init__(self, settings: WebsocketSettings) -> None:
        self._settings = settings
        self._status = StatusDocument(settings.messages, settings.sender_time_unit)
        self._channels = [_memory(name, source, settings) for name, source in settings.channels.items()]
        self._complaints = Complaints()
        self._opened_s = self._heard_s = self._sent_s = 0.0
        self._proven_s = self._sampled_s = float("-inf")
        self._is_new = self._is_full = False
        self.reconnect_reason: str | None = None
        self.is_planned = False

    def greeting(self) -> list[str]:
        """Texts to send after connecting, with the token's place holder."""
        return list(self._settings.on_connect)

    def opened(self, time_s: float) -> None:
        """A connection was made: nothing is known until a full status comes."""
        self._status.connect_anew()
        self._opened_s = self._heard_s = self._sent_s = time_s
        self._proven_s = self._sampled_s = float("-inf")
        self._is_new = self._is_full = False
        self.reconnect_reason, self.is_planned = None, False

    def receive(self, message: str | bytes, time_s: float) -> list[Event]:
        """Events of a message that arrived at `time_s` [s]."""
        self._heard_s = time_s
        if isinstance(message, str) and self._status.ignores(message):
            return self.proven_alive(time_s)
        try:
            whole = read_json(message)
        except NotJsonError as error:
            if self._status.takes_parts and self._status.is_known:
                self._give_up(f"a message could not be read ({error}), and it may have been a change")
            return self._complain("not JSON", str(error), message, time_s)
        events: list[Event] = []
        for part in self._status.parts_of(whole):
            events += self._take(part, message, time_s)
        return events + self._sample(time_s)

    def elapse(self, time_s: float) -> list[Event]:
        """Events that are due at `time_s` [s] without a message; call at least every quarter of a second."""
        settings = self._settings
        quiet_s = time_s - max(self._heard_s, self._proven_s)
        if not self._status.is_known and time_s - self._opened_s > settings.full_within_s:
            self._give_up(
                f"no full status came within {settings.full_within_s:g} s: does on_connect ask for it, and does a "
                "message rule fit the answer?"
            )
        elif quiet_s > settings.stale_after_s:
            self._give_up(f"nothing came for {settings.stale_after_s:g} s")
        elif settings.resync_every_s is not None and time_s - self._opened_s > settings.resync_every_s:
            self._give_up("it is time for a new full status", is_planned=True)
        return self._sample(time_s)

    def text_due(self, time_s: float) -> str | None:
        """Text of the keepalive, when it is due; it then counts as sent."""
        keepalive = self._settings.keepalive
        if keepalive is None or time_s - self._sent_s < keepalive.every_s:
            return None
        self._sent_s = time_s
        return keepalive.text

    def wants_proof(self, time_s: float) -> bool:
        """Whether to ask the connection for a sign of life, because silence means that nothing changed."""
        last_s = max(self._heard_s, self._proven_s)
        return self._settings.silent_means == "unchanged" and time_s - last_s >= PROOF_SPACING_S

    def proven_alive(self, time_s: float) -> list[Event]:
        """The far end answered a ping: where silence means "unchanged", the last values hold now too."""
        self._proven_s = time_s
        self._is_new |= self._settings.silent_means == "unchanged"
        return self._sample(time_s)

    def _take(self, part: Json, message: str | bytes, time_s: float) -> list[Event]:
        if self.reconnect_reason is not None:
            return []
        try:
            effect = self._status.take(part)
        except NotUsableError as error:
            return self._complain("not usable", str(error), message, time_s)
        except StatusLostError as error:
            self._give_up(str(error))
            return self._restart(str(error), time_s) if error.has_restarted else []
        self._is_full |= effect.full
        self._is_new |= effect.changed or self._settings.silent_means == "unchanged"
        return [] if effect.restarted is None else self._restart(f"the machine restarted ({effect.restarted})", time_s)

    def _restart(self, why: str, time_s: float) -> list[Event]:
        for channel in self._channels:
            channel.restart()
        reason = f"{why}: feed is counted from a new zero"
        return [LinkChange(time_s, available=True, reason=reason, feed_unknown=True)]

    def _sample(self, time_s: float) -> list[Event]:
        """Read all channels, when something came and the last sample is long enough ago."""
        is_due = self._is_new and self._status.is_known and time_s - self._sampled_s >= SAMPLE_SPACING_S
        if not is_due or self.reconnect_reason is not None:
            return []
        self._sampled_s = time_s
        values: dict[str, float] = {}
        execution: Execution | None = None
        for channel in self._channels:
            reading = channel.read(self._status.document, time_s, is_full=self._is_full)
            execution = reading.word if execution is None else execution
            if reading.value is not None:
                values[channel.reader.name] = reading.value
        self._is_new = self._is_full = False
        self._ask_for_full()
        sample = [Sample(time_s, values, execution)] if values or execution is not None else []
        return [*self._notes(time_s), *sample]

    def _ask_for_full(self) -> None:
        doubtful = [channel.reader.name for channel in self._channels if channel.asks_for_full]
        if doubtful:
            self._give_up(f"an array changed its length, so {doubtful[0]} may be another's; a full status will tell")

    def _notes(self, time_s: float) -> list[Event]:
        notes = [note for channel in self._channels for note in channel.notes]
        reason = clean_text("; ".join(notes), _SHOWN)
        return [LinkChange(time_s, available=True, reason=reason)] if notes else []

    def _give_up(self, reason: str, *, is_planned: bool = False) -> None:
        if self.reconnect_reason is None:
            self.reconnect_reason, self.is_planned = clean_text(reason, _SHOWN), is_planned

    def _complain(self, kind: str, reason: str, message: str | bytes, time_s: float) -> list[Event]:
        raw = message[:200].encode("latin-1", "replace") if isinstance(message, str) else message[:200]
        return list(self._complaints.take(kind, clean_text(reason), raw, time_s))


def _memory(name: str, source: ChannelSource, settings: WebsocketSettings) -> ChannelMemory:
    bounds = settings.temperature_bounds
    reader = ChannelReader(name, source, bounds)
    if reader.kind == "temp_c":  # the reader knows the channel's own limits, which go before the link's
        return ChannelMemory(reader, None, TemperatureGate(replace(bounds, lowest_c=-inf, highest_c=inf)))
    if reader.kind not in COUNTER_KINDS:
        return ChannelMemory(reader, None)
    wrap_mm = None if source.wrap is None else abs(reader.span_mm(source.wrap))
    return ChannelMemory(reader, replace(settings.feed_bounds, wrap_mm=wrap_mm))
