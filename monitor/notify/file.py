"""The owner's file of notification channels: secrets, so it stands by itself and nobody else may read it.

Owns its place, its keys, and the promise that no fault shows an address. All faults of the file are told at once.
"""

import socket
import stat
from collections.abc import Iterator, Mapping, Sequence
from ipaddress import ip_address
from pathlib import Path
from typing import Annotated, Any, Final, Literal
from urllib.parse import urlsplit

from platformdirs import user_config_path
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from connectors.clean_text import clean_text
from connectors.withheld import WITHHELD
from monitor.core.alert_types import Priority
from monitor.exit_codes import WrongUseError
from monitor.notify.attempt import Channel
from monitor.notify.check_in import EVERY_MIN, CheckIn, fetcher
from monitor.notify.ladder import REPEAT_MIN
from monitor.notify.plan import MINUTE_S, NotifyPlan
from monitor.notify.service import ServiceSender, sender_for
from monitor.profile.faults import Fault, FaultsError, Finding, fault, findings
from monitor.profile.model import Name, Number
from monitor.text_file import UnreadableError, read_text_file, tables_of

DEFAULT_NAME: Final = "notify.toml"
MOST_CHANNELS: Final = 20

_READABLE_BY_OTHERS: Final = stat.S_IRWXG | stat.S_IRWXO
_SHOWABLE: Final = frozenset({"name", "at_least"})
_NUMBERS: Final = frozenset({"after_min", "repeat_min", "every_min"})
_MAIL: Final = ("mailto://", "mailtos://")


Address = Annotated[str, Field(min_length=1, max_length=4000, repr=False)]


class SecretTable(BaseModel):
    """Any table of the file: no fault of it shows what stands there."""

    model_config = ConfigDict(frozen=True, extra="forbid", hide_input_in_errors=True)


class ChannelTable(SecretTable):
    """One `[[channels]]`. `url` is an address as the apprise library reads it, and a secret."""

    name: Name
    url: Address
    at_least: Literal["ALARM", "WARNING", "CAUTION"] = "WARNING"
    after_min: Annotated[Number, Field(ge=0, le=720)] = 0.0


class CheckInTable(SecretTable):
    """`[check_in]`: an address to ask, with GET, as long as fresh samples pass."""

    url: Address
    every_min: Annotated[Number, Field(ge=1, le=1440)] = EVERY_MIN


class NotifyFile(SecretTable):
    """The whole file."""

    repeat_min: Annotated[Number, Field(ge=1, le=720)] = REPEAT_MIN
    channels: Annotated[tuple[ChannelTable, ...], Field(min_length=1, max_length=MOST_CHANNELS)]
    check_in: CheckInTable | None = None


class NotifyFileError(FaultsError, WrongUseError):
    """The file cannot be used. No address is in what is told of it."""


def default_file() -> Path:
    """Give the place of the file where the profile names none, whether or not it is there."""
    return user_config_path("strandwatch", appauthor=False) / DEFAULT_NAME


def plan_of(named: str | None, machine_host: str = "") -> NotifyPlan:
    """Read the file that the profile names, or the default one, which may be missing.

    Parameters
    ----------
    named : str or None
        The profile's `notify_file`.
    machine_host : str
        Computer that the link leads to; no address may lead there. Empty where the link names none.

    Raises
    ------
    NotifyFileError
        With all that is wrong.
    """
    if named is not None:
        return read_plan(Path(named).expanduser(), machine_host)
    return read_plan(default_file(), machine_host) if default_file().exists() else NotifyPlan()


def read_plan(path: Path, machine_host: str = "") -> NotifyPlan:
    """Read a file of channels; raises NotifyFileError with all that is wrong."""
    open_to_others = list(_permission_faults(path))
    table = _table(path, open_to_others)
    found, model = _checked(table)
    senders = list(_senders(table, machine_host))
    found += [it for it in senders if isinstance(it, Finding)]
    found += _check_in_faults(table, machine_host)
    showable = _without_addresses(table)
    faults = [fault(str(path), showable, it) for it in _one_for_each_place(found)]
    if open_to_others or faults or model is None:
        raise NotifyFileError([*open_to_others, *faults])
    return _plan(model, [it for it in senders if isinstance(it, ServiceSender)])


def _plan(model: NotifyFile, senders: Sequence[ServiceSender]) -> NotifyPlan:
    channels = tuple(
        Channel(row.name, Priority[row.at_least], sender, row.after_min * MINUTE_S)
        for row, sender in zip(model.channels, senders, strict=True)
    )
    way = model.check_in
    check_in = None if way is None else CheckIn(fetcher(way.url), way.every_min * MINUTE_S)
    return NotifyPlan(channels, model.repeat_min * MINUTE_S, check_in)


def _permission_faults(path: Path) -> Iterator[Fault]:
    try:
        mode = path.stat().st_mode
    except FileNotFoundError:
        problem = "there is no such file; make it (`strandwatch alerts test --help` shows one), or correct the path"
        raise NotifyFileError([Fault(str(path), "", None, problem)]) from None
    except OSError as error:
        raise NotifyFileError([Fault(str(path), "", None, f"cannot be read: {error.strerror}")]) from None
    if not stat.S_ISREG(mode):
        raise NotifyFileError([Fault(str(path), "", None, "is no plain file")])
    if mode & _READABLE_BY_OTHERS:
        shown = clean_text(str(path), 500)
        yield Fault(str(path), "", None, f"others on this computer may read it; close it with: chmod 600 {shown}")


def _table(path: Path, before: Sequence[Fault]) -> dict[str, Any]:
    try:
        return tables_of(read_text_file(path))
    except UnreadableError as error:
        raise NotifyFileError([*before, Fault(str(path), "", None, str(error))]) from None


def _checked(table: Mapping[str, Any]) -> tuple[list[Finding], NotifyFile | None]:
    try:
        model = NotifyFile.model_validate(table)
    except ValidationError as error:
        return findings(error, NotifyFile, table), None
    names = [row.name for row in model.channels]
    twice = [place for place, name in enumerate(names) if name in names[:place]]
    found = [Finding(("channels", place, "name"), "another channel has this name") for place in twice]
    if all(row.after_min for row in model.channels):
        found.append(Finding(("channels", 0, "after_min"), "nobody is told at once", "0 for one channel at least"))
    return found, model


def _senders(table: Mapping[str, Any], machine_host: str) -> Iterator[ServiceSender | Finding]:
    """Make what sends of every address that can be found, also where other keys are wrong."""
    rows = table.get("channels")
    for place, row in enumerate(rows if isinstance(rows, list) else ()):
        url = row.get("url") if isinstance(row, Mapping) else None
        if isinstance(url, str) and url:
            yield _sender(("channels", place, "url"), url, machine_host)


def _sender(place: tuple[str, int, str], url: str, machine_host: str) -> ServiceSender | Finding:
    sender = sender_for(url)
    if sender is None:
        return Finding(
            place,
            "no address that the apprise library can use",
            "SERVICE://… as its documentation has it for a service",
        )
    if machine_host and _computer(sender.host) == _computer(machine_host) and not url.lower().startswith(_MAIL):
        return Finding(place, "leads to the machine itself, and strandwatch sends nothing there but its queries")
    return sender


def _check_in_faults(table: Mapping[str, Any], machine_host: str) -> Iterator[Finding]:
    row = table.get("check_in")
    url = row.get("url") if isinstance(row, Mapping) else None
    if not isinstance(url, str) or not url:
        return  # told by the checker of the keys
    place = ("check_in", "url")
    try:
        address = urlsplit(url)
        host, _ = address.hostname, address.port
    except ValueError:
        host = None
    if not host or address.scheme not in {"http", "https"} or not url.isascii() or any(it <= " " for it in url):
        yield Finding(place, "no address that can be asked", "https://… or http://…")
    elif machine_host and _computer(host) == _computer(machine_host):
        yield Finding(place, "leads to the machine itself, and strandwatch sends nothing there but its queries")


def _computer(host: str) -> str:
    """One word for all the names that a computer has for itself (RFC 6761, section 6.3), and for all ways to write one.

    An address of zeros leads to the computer itself, and so do the short and the plain forms of its number.
    """
    name = host.lower().strip("[]").rstrip(".")
    try:
        address = ip_address(socket.inet_aton(name)) if ":" not in name else ip_address(name)
    except (OSError, ValueError):
        return "localhost" if name == "localhost" or name.endswith(".localhost") else name
    address = getattr(address, "ipv4_mapped", None) or address
    return "localhost" if address.is_loopback or address.is_unspecified else str(address)


def _without_addresses(value: Any, key: str = "") -> Any:  # noqa: ANN401 -- any plain table
    """Copy of the tables in which only names, priorities and times are left: secrets may stand under mistyped keys."""
    if isinstance(value, Mapping):
        return {name: _without_addresses(item, str(name)) for name, item in value.items()}
    if isinstance(value, list):
        return [_without_addresses(item, key) for item in value]
    is_plain = key in _SHOWABLE or (key in _NUMBERS and isinstance(value, int | float))
    return value if is_plain else WITHHELD


def _one_for_each_place(found: Sequence[Finding]) -> list[Finding]:
    """Leave out a second finding about a place, and one about a table whose own keys are faulty: they follow."""
    first: dict[tuple[str | int, ...], Finding] = {}
    for finding in found:
        first.setdefault(finding.path, finding)
    within = {path[:end] for path in first for end in range(1, len(path))}
    return [finding for path, finding in first.items() if path not in within]
