"""What a link's mapping promises to report, so that a profile can be held against it before a build.

Owns that reading of the links' settings. Opens nothing.
"""

from connectors.serial_settings import SerialSettings
from connectors.websocket_settings import WebsocketSettings

Link = SerialSettings | WebsocketSettings


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


def address(link: Link) -> str:
    """Where the machine is reached, without secrets."""
    return link.port if isinstance(link, SerialSettings) else link.shown_url
