"""What a link's mapping promises to report, so that a profile can be held against it before a build.

Owns that reading of the links' settings, and what they could send. Opens nothing.
"""

from connectors.serial_queries import Query
from connectors.serial_settings import SerialSettings
from connectors.websocket_check import explain_sends
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


def texts_sent(link: Link) -> list[str]:
    """All that could ever be sent to the machine, in words."""
    if isinstance(link, WebsocketSettings):
        return explain_sends(link)
    if link.mode == "listen":
        return ["nothing: the operating system itself refuses every write to the port"]
    wanted = {Query.PROGRESS: link.ask_progress, Query.POSITION: link.position_query_is_safe}
    queries = [query for query in Query if wanted.get(query, True)]
    return [f"every {link.poll_interval_s:g} s or rarer: {query.decode('ascii').strip()}" for query in queries]
