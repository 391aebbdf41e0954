"""Chooses the reader for a foreign file: a table, a serial log or captured messages. Opens nothing."""

from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import Protocol

from connectors.serial_settings import SerialSettings
from connectors.telemetry import Event
from connectors.websocket_settings import WebsocketSettings
from monitor.exit_codes import WrongUseError
from monitor.importing.import_map import ImportMap
from monitor.importing.line_reader import LineReader, SerialVoice, WebsocketVoice
from monitor.importing.source_file import Line
from monitor.importing.table_reader import TableReader
from monitor.importing.tally import Tally
from monitor.profile.link_mapping import Link

_TABLE_ENDINGS = (".csv", ".tsv", ".tab")


class Reader(Protocol):
    """Reads one file from the top, once."""

    tally: Tally
    start: datetime | None

    @property
    def notes(self) -> Iterator[str]:
        """How the file was taken."""
        ...

    def events(self, lines: Iterable[Line]) -> Iterator[tuple[int, Event]]:
        """Events with the number of the line that each comes from."""
        ...


def kind_of(name: str, wanted: str | None, link: Link | None) -> str:
    """What kind of file it is: by the owner's word, by its ending, or by the profile's link.

    Raises
    ------
    WrongUseError
        When none of these tells.
    """
    if wanted is not None:
        return wanted
    if name.lower().endswith(_TABLE_ENDINGS):
        return "csv"
    if link is None:
        raise WrongUseError("say what kind of file it is: --as csv, --as serial or --as websocket")
    return link.kind


def make_reader(kind: str, mapping: ImportMap, link: Link | None) -> Reader:
    """A new reader.

    Raises
    ------
    WrongUseError
        When the profile has no link that could understand the lines.
    """
    if kind == "csv":
        return TableReader(mapping)
    if kind == "serial" and isinstance(link, SerialSettings):
        return LineReader(SerialVoice(link), mapping.lines)
    if kind == "websocket" and isinstance(link, WebsocketSettings):
        return LineReader(WebsocketVoice(link), mapping.lines)
    raise WrongUseError(
        f'the profile has no [link] of kind = "{kind}", which would say what the lines mean; nothing is connected, only'
        " its mapping is used"
    )
