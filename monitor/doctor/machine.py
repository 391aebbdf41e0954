"""The profile and the way to the machine, looked at without opening it.

Judges what `sight` saw of the port. What comes over the link is tried in `trial`, when asked for.
"""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

from connectors.errors import SettingsError
from connectors.serial_settings import SerialSettings
from connectors.websocket_access import read_access
from connectors.websocket_settings import WebsocketSettings
from monitor.config import Profile, ProfileError, load_profile
from monitor.doctor.findings import Finding, fine, look, wrong
from monitor.notify.file import NotifyFileError, plan_of
from monitor.profile.faults import Fault
from monitor.profile.link_mapping import Link, address, host


class Port(NamedTuple):
    """A serial port as it stands, unopened. `holders` are other programs that have it open, in words."""

    exists: bool
    is_device: bool = False
    may_read: bool = False
    may_write: bool = False
    holders: Sequence[str] = ()
    permission_advice: str = ""


def profile(path: Path, materials: Sequence[Path]) -> tuple[Profile | None, list[Finding]]:
    """Read a profile; with it what is wrong, a finding for each fault."""
    try:
        read = load_profile(path, user_materials=materials)
    except ProfileError as error:
        return None, [wrong("profile", str(fault), _mending(fault)) for fault in error.faults]
    return read, [fine("profile", f"{path}: {read.parameters.machine}")]


def _mending(fault: Fault) -> str:
    return "correct that in the profile" if fault.key else "give another file with --profile, or mend this one"


def notifications(named: str | None, link: Link | None) -> list[Finding]:
    """Read the file of channels; nothing is sent, and no address is shown."""
    try:
        plan = plan_of(named, host(link))
    except NotifyFileError as error:
        return [wrong("notifications", str(fault), "correct that in the file of channels") for fault in error.faults]
    if not plan.channels:
        return [look("notifications", "no channels", "nobody is woken: see `strandwatch alerts test --help`")]
    count = len(plan.channels)
    return [fine("notifications", f"{count} channel{'s' if count > 1 else ''}, in a file that only you may read")]


def serial_port(settings: SerialSettings, seen: Port) -> Iterator[Finding]:
    """Judge a serial port without opening it: opening can restart a machine."""
    subject = f"port {settings.port}"
    if not seen.exists:
        yield wrong(subject, "is not there", "is the machine plugged in and on? Names under /dev/serial/by-id stay")
        return
    if not seen.is_device:
        yield wrong(subject, "is no serial port", "correct link.port: devices are under /dev/serial/by-id")
        return
    may = seen.may_read and (seen.may_write or settings.mode == "listen")
    yield (
        fine(subject, "is there, and you may open it")
        if may
        else wrong(subject, "you may not open it", seen.permission_advice)
    )
    if seen.holders:
        yield wrong(
            subject,
            f"is held by {', '.join(seen.holders)}",
            "close that, unless it is your own watch: a port serves one program only",
        )
    if not settings.open_is_safe:
        yield look(subject, "opening it may restart the machine", "see open_is_safe in `strandwatch profile check`")


def websocket(settings: WebsocketSettings) -> Finding:
    """Judge what lets us in at a websocket, without going there. The token is read and not shown."""
    subject = f"link {address(settings)}"
    try:
        read_access(settings)
    except SettingsError as error:
        return wrong(subject, str(error), "put right what it names, or correct [link] in the profile")
    return fine(
        subject, "token and certificate can be read" if settings.has_token else "needs no token, by the profile"
    )
