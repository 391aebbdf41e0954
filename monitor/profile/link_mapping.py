"""What a link's mapping promises to report, so that a profile can be held against it before a build.

Owns that reading of the links' settings, and what they could send. Opens nothing.
"""

from typing import Final
from urllib.parse import urlsplit

from connectors.serial_queries import Query
from connectors.serial_settings import SerialSettings
from connectors.websocket_channels import INPUT_KINDS, kind_of, owner_of
from connectors.websocket_check import explain_sends
from connectors.websocket_settings import WebsocketSettings

_MOTIONS: Final = frozenset({"sensed_mm", "stall"})
Link = SerialSettings | WebsocketSettings
Place = tuple[str | int, ...]
"""Place in the profile: keys of tables and 0-based places in arrays."""


def sensors_reported(link: Link) -> frozenset[str]:
    """Sensors whose temperature the link can report."""
    if isinstance(link, WebsocketSettings):
        return link.sensors
    by_pattern = {row.sensor for row in link.patterns if row.sensor is not None and "temp_c" in row.channels}
    return frozenset(link.sensors) | by_pattern


def inputs_reported(link: Link) -> frozenset[int]:
    """Inputs whose commanded feed the link can report."""
    if isinstance(link, WebsocketSettings):
        return link.inputs
    return frozenset(number for shares in link.shares.values() for number in shares)


def motions_reported(link: Link) -> frozenset[int]:
    """Inputs of which an encoder or the driver's stall flags can be reported."""
    if isinstance(link, WebsocketSettings):
        return frozenset(int(owner_of(name)) for name in link.channels if kind_of(name) in _MOTIONS)
    rows = [row for row in link.patterns if not _MOTIONS.isdisjoint(row.channels)]
    if any(row.input is None for row in rows):  # the line names the input: it may be any
        return inputs_reported(link)
    return frozenset(row.input for row in rows if row.input is not None)


def duties_reported(link: Link) -> frozenset[str]:
    """Sensors of heaters whose duty the link can report."""
    if isinstance(link, WebsocketSettings):
        return frozenset(owner_of(name) for name in link.channels if kind_of(name) == "duty")
    by_pattern = {row.sensor for row in link.patterns if row.sensor is not None and "duty" in row.channels}
    return frozenset(link.sensors) | by_pattern


def inputs_named(link: Link) -> list[tuple[Place, int]]:
    """Every input that the mapping names, with its place in the profile."""
    if isinstance(link, WebsocketSettings):
        return [
            (("link", "channels", name), int(owner_of(name))) for name in link.channels if kind_of(name) in INPUT_KINDS
        ]
    named: list[tuple[Place, int]] = [
        (("link", "input_of_tool", str(tool)), number) for tool, number in link.input_of_tool.items()
    ]
    for tool, mix in link.mixes.items():
        named += [(("link", "mixes", str(tool), "weights", str(number)), number) for number in mix.weights]
    rows = [(place, row.input) for place, row in enumerate(link.patterns)]
    return named + [(("link", "patterns", place, "input"), number) for place, number in rows if number is not None]


def sensors_named(link: Link) -> list[tuple[Place, str]]:
    """Every sensor that the mapping names without reporting its temperature there, with its place in the profile."""
    if isinstance(link, WebsocketSettings):
        beside = [name for name in link.channels if kind_of(name) in ("set_c", "duty")]
        return [(("link", "channels", name), owner_of(name)) for name in beside]
    rows = [(place, row.sensor) for place, row in enumerate(link.patterns)]
    return [(("link", "patterns", place, "sensor"), sensor) for place, sensor in rows if sensor is not None]


def address(link: Link) -> str:
    """Where the machine is reached, without secrets."""
    return link.port if isinstance(link, SerialSettings) else link.shown_url


def host(link: Link | None) -> str:
    """Computer that the link leads to; empty for a serial port or no link."""
    return (urlsplit(link.url).hostname or "") if isinstance(link, WebsocketSettings) else ""


def texts_sent(link: Link) -> list[str]:
    """All that could ever be sent to the machine, in words."""
    if isinstance(link, WebsocketSettings):
        return explain_sends(link)
    if link.mode == "listen":
        return ["nothing: the operating system itself refuses every write to the port"]
    wanted = {Query.PROGRESS: link.ask_progress, Query.POSITION: link.position_query_is_safe}
    queries = [query for query in Query if wanted.get(query, True)]
    return [f"every {link.poll_interval_s:g} s or rarer: {query.decode('ascii').strip()}" for query in queries]
