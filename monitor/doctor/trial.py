"""A few seconds of listening to the machine, only when the owner asks for it. Nothing is sent.

A serial port is opened read-only whatever the profile's mode; a websocket is connected to without greeting, keepalive
or, where it would stand in a greeting, token.
"""

import asyncio
import time
from collections import Counter
from collections.abc import AsyncGenerator, Callable
from contextlib import aclosing, suppress
from typing import Final, cast

from connectors.errors import ConnectorError
from connectors.link import Link as OpenLink
from connectors.serial_settings import SerialSettings
from connectors.telemetry import Event, LinkChange, Malformed, Sample
from connectors.websocket_settings import TOKEN_MARK
from monitor.doctor.findings import Finding, fine, look, wrong
from monitor.links import open_link
from monitor.profile.link_mapping import Link, sensors_reported

TRIAL_S: Final = 5.0


def silent(settings: Link) -> Link:
    """The same link, with all taken out that it could send."""
    if isinstance(settings, SerialSettings):
        return settings.model_copy(update={"mode": "listen"})
    is_in_text = any(TOKEN_MARK in text for text in settings.texts)
    no_token = {"token_file": None, "token_env": None} if is_in_text else {}
    return settings.model_copy(
        update={"on_connect": (), "keepalive": None, "silent_means": "stale", "resync_every_s": None, **no_token}
    )


def try_link(settings: Link, for_s: float = TRIAL_S, opened: Callable[[Link], OpenLink] | None = None) -> list[Finding]:
    """Listen to the machine for `for_s` [s], and say what came."""
    heard: list[Event] = []
    try:
        link = (opened or _opened)(silent(settings))
        asyncio.run(_listen(link, for_s, heard))
    except ConnectorError as error:
        return [wrong("trial of the link", str(error), "mend that, then try again")]
    return _judged(settings, heard, for_s)


def _opened(settings: Link) -> OpenLink:
    begin_s = time.monotonic()
    return open_link(settings, lambda: time.monotonic() - begin_s, may_reset=False, waits=False)


async def _listen(link: OpenLink, for_s: float, heard: list[Event]) -> None:
    with suppress(TimeoutError):
        async with asyncio.timeout(for_s), aclosing(cast("AsyncGenerator[Event, None]", link.events())) as events:
            async for event in events:
                heard.append(event)  # noqa: PERF401 -- what came before the time is over must not be lost


def _judged(settings: Link, heard: list[Event], for_s: float) -> list[Finding]:
    counts = Counter(type(event) for event in heard)
    found = [fine("trial of the link", event.reason) for event in heard if isinstance(event, LinkChange)][:3]
    shown = f"{counts[Sample]} samples and {counts[Malformed]} unreadable messages in {for_s:g} s"
    if not counts[Sample]:
        return [*found, look("what came", shown, _silence_advice(settings, is_noise=bool(counts[Malformed])))]
    told = {name for event in heard if isinstance(event, Sample) for name in event.values}
    missing = sorted(name for name in sensors_reported(settings) if f"temp_c:{name}" not in told)
    if missing:
        return [*found, look("what came", f"{shown}, none of {', '.join(missing)}", "correct the mapping in [link]")]
    return [*found, fine("what came", f"{shown}, with every sensor of the profile")]


def _silence_advice(settings: Link, *, is_noise: bool) -> str:
    if is_noise:
        key = "link.baud" if isinstance(settings, SerialSettings) else "link.url"
        return f"what comes cannot be read: see whether {key} is right"
    if isinstance(settings, SerialSettings) and settings.mode == "listen":
        return "turn on the controller's automatic temperature report, and check the speed"
    return "the trial asks for nothing; the watch will, and may well be answered"
