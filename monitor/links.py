"""Opens the link that a profile describes. A new kind of link gets its line here."""

from connectors.clean_text import clean_text
from connectors.link import Clock, Link
from connectors.serial_link import SerialLink
from connectors.serial_settings import SerialSettings
from connectors.websocket_link import WebsocketLink
from monitor.profile.link_mapping import Link as LinkSettings
from monitor.profile.link_mapping import address


def open_link(settings: LinkSettings, clock: Clock, *, may_reset: bool, waits: bool) -> Link:
    """Link to the machine; it connects when its events are asked for.

    Parameters
    ----------
    settings : SerialSettings or WebsocketSettings
        The profile's `[link]`.
    clock : Clock
        Stamps the events.
    may_reset : bool
        The owner accepts that opening a serial port may restart the controller.
    waits : bool
        Keep trying when the machine cannot be reached at first.

    Raises
    ------
    SettingsError
        When the settings cannot work.
    """
    if isinstance(settings, SerialSettings):
        return SerialLink(settings, clock, may_reset=may_reset, wait_for_port=waits)
    return WebsocketLink(settings, clock, wait_for_server=waits)


def link_text(settings: LinkSettings) -> str:
    """Where the machine is reached, in words."""
    return f"{settings.kind} {clean_text(address(settings))}"
