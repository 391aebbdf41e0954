"""For checking a profile: what it could send, and what each channel would read from a status. Pure."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from connectors.channel_reading import ChannelReader, Reading
from connectors.clean_text import clean_text
from connectors.json_pointer import Json, parse_pointer, pointer_text
from connectors.telemetry import CHANNEL_UNITS
from connectors.websocket_channels import kind_of
from connectors.websocket_settings import WebsocketSettings

MOST_UNMAPPED: Final = 20


@dataclass(frozen=True, slots=True)
class ChannelReport:
    """One channel and its reading, in words."""

    channel: str
    reading: Reading

    def __str__(self) -> str:
        reading = self.reading
        if reading.reason is not None:
            return clean_text(f"{self.channel}: no value: {reading.reason}", 400)
        unit = CHANNEL_UNITS.get(kind_of(self.channel), "").replace("-", "")
        return clean_text(f"{self.channel}: {reading.word or f'{reading.value:g} {unit}'.rstrip()}")


@dataclass(frozen=True, slots=True)
class Description:
    """Every mapped channel with its value or the reason it has none, and pointers to numbers that nothing maps."""

    channels: tuple[ChannelReport, ...]
    unmapped: tuple[str, ...]


def explain_sends(settings: WebsocketSettings) -> list[str]:
    """Every text that the profile could make the link send, in words; the token's place holder stays.

    The connection itself and its pings (RFC 6455) are the only other bytes that leave.
    """
    once = [f"after connecting: {clean_text(text, 4096)}" for text in settings.on_connect]
    keepalive = settings.keepalive
    again = [] if keepalive is None else [f"every {keepalive.every_s:g} s: {clean_text(keepalive.text, 4096)}"]
    return once + again or ["nothing but the opening of the connection and its pings"]


def describe_channels(settings: WebsocketSettings, document: Json) -> Description:
    """What each channel would read from a full status, and up to 20 pointers to numbers that no channel takes."""
    readers = [ChannelReader(name, source) for name, source in settings.channels.items()]
    reports = tuple(ChannelReport(reader.name, reader.read(document)) for reader in readers)
    mapped = {pointer_text(reader.tokens) for reader in readers if reader.tokens is not None}
    found = {pointer_text(parse_pointer(source.find.among)) for source in settings.channels.values() if source.find}
    unmapped = [
        text
        for text in map(pointer_text, _numbers(document, ()))
        if text not in mapped and not any(text.startswith(f"{among}/") for among in found)
    ]
    return Description(reports, tuple(clean_text(text) for text in unmapped[:MOST_UNMAPPED]))


def _numbers(value: Json, place: tuple[str | int, ...]) -> Iterator[tuple[str | int, ...]]:
    """Places of all numbers in a document, from the top down."""
    if isinstance(value, dict):
        for name, below in value.items():
            yield from _numbers(below, (*place, name))
    elif isinstance(value, list):
        for index, below in enumerate(value):
            yield from _numbers(below, (*place, index))
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield place
