"""The owner's file of notification channels: secrets, so it stands by itself and nobody else may read it.

Owns its place, its keys, and the promise that no fault shows an address. All faults of the file are told at once.
"""

import stat
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from platformdirs import user_config_path
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from connectors.clean_text import clean_text
from connectors.withheld import WITHHELD
from monitor.core.alert_types import Priority
from monitor.exit_codes import WrongUseError
from monitor.notify_attempt import Channel
from monitor.notify_service import ServiceSender, sender_for
from monitor.profile_faults import Fault, Finding, fault, findings
from monitor.profile_model import Name
from monitor.text_file import UnreadableError, read_text_file

DEFAULT_NAME: Final = "notify.toml"
MOST_CHANNELS: Final = 20

_READABLE_BY_OTHERS: Final = stat.S_IRWXG | stat.S_IRWXO
_SHOWABLE: Final = frozenset({"name", "at_least"})
_MAIL: Final = ("mailto://", "mailtos://")


class ChannelTable(BaseModel):
    """One `[[channels]]`. `url` is an address as the apprise library reads it, and a secret."""

    model_config = ConfigDict(frozen=True, extra="forbid", hide_input_in_errors=True)

    name: Name
    url: Annotated[str, Field(min_length=1, max_length=4000, repr=False)]
    at_least: Literal["ALARM", "WARNING", "CAUTION"] = "WARNING"


class NotifyFile(BaseModel):
    """The whole file."""

    model_config = ConfigDict(frozen=True, extra="forbid", hide_input_in_errors=True)

    channels: Annotated[tuple[ChannelTable, ...], Field(min_length=1, max_length=MOST_CHANNELS)]


class NotifyFileError(WrongUseError):
    """The file cannot be used; `faults` holds everything that is wrong with it. No address is in it."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__(self.faults)

    def __str__(self) -> str:
        return "\n".join(str(fault) for fault in self.faults)


def default_file() -> Path:
    """Give the place of the file where the profile names none, whether or not it is there."""
    return user_config_path("strandwatch", appauthor=False) / DEFAULT_NAME


def channels_of(named: str | None, machine_host: str = "") -> tuple[Channel, ...]:
    """Read the channels from the file that the profile names, or from the default one, which may be missing.

    Parameters
    ----------
    named : str or None
        The profile's `notify_file`.
    machine_host : str
        Computer that the link leads to; a channel must not lead there. Empty where the link names none.

    Raises
    ------
    NotifyFileError
        With all that is wrong.
    """
    if named is not None:
        return read_channels(Path(named).expanduser(), machine_host)
    return read_channels(default_file(), machine_host) if default_file().exists() else ()


def read_channels(path: Path, machine_host: str = "") -> tuple[Channel, ...]:
    """Read a file of channels; raises NotifyFileError with all that is wrong."""
    open_to_others = list(_permission_faults(path))
    table = _table(path, open_to_others)
    found, model = _checked(table)
    senders = list(_senders(table, machine_host))
    found += [it for it in senders if isinstance(it, Finding)]
    faults = [fault(str(path), _without_addresses(table), it) for it in _one_for_each_place(found)]
    if open_to_others or faults or model is None:
        raise NotifyFileError([*open_to_others, *faults])
    ready = [it for it in senders if isinstance(it, ServiceSender)]
    return tuple(
        Channel(row.name, Priority[row.at_least], sender) for row, sender in zip(model.channels, ready, strict=True)
    )


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
        return tomllib.loads(read_text_file(path))
    except UnreadableError as error:
        problem = str(error)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        problem = f"not TOML: {clean_text(str(error))}"
    raise NotifyFileError([*before, Fault(str(path), "", None, problem)])


def _checked(table: Mapping[str, Any]) -> tuple[list[Finding], NotifyFile | None]:
    try:
        model = NotifyFile.model_validate(table)
    except ValidationError as error:
        return findings(error, NotifyFile, table), None
    names = [row.name for row in model.channels]
    twice = [place for place, name in enumerate(names) if name in names[:place]]
    return [Finding(("channels", place, "name"), "another channel has this name") for place in twice], model


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


def _computer(host: str) -> str:
    """One word for all the names that a computer has for itself (RFC 6761, section 6.3)."""
    name = host.lower().strip("[]")
    is_own = name == "localhost" or name.endswith(".localhost") or name.startswith("127.") or name == "::1"
    return "localhost" if is_own else name


def _without_addresses(value: Any, key: str = "") -> Any:  # noqa: ANN401 -- any plain table
    """Copy of the tables in which only names and priorities are left: a secret may stand under a mistyped key."""
    if isinstance(value, Mapping):
        return {name: _without_addresses(item, str(name)) for name, item in value.items()}
    if isinstance(value, list):
        return [_without_addresses(item, key) for item in value]
    return value if key in _SHOWABLE else WITHHELD


def _one_for_each_place(found: Sequence[Finding]) -> list[Finding]:
    """Leave out a second finding about a place, and one about a table whose own keys are faulty: they follow."""
    first: dict[tuple[str | int, ...], Finding] = {}
    for finding in found:
        first.setdefault(finding.path, finding)
    within = {path[:end] for path in first for end in range(1, len(path))}
    return [finding for path, finding in first.items() if path not in within]
