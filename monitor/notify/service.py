"""The services behind the channels, through `apprise`; the only module that imports it, and only when asked.

Addresses are secrets. Neither they nor anything a service says is passed on: of the library's own log only what can
hold no secret is kept, a status number or that nobody answered.
"""

import logging
import re
import threading
import warnings
from functools import cache
from types import ModuleType
from typing import Final, Protocol, cast

from monitor.core.alert_types import Priority
from monitor.notify.attempt import Letter, Outcome

_STATUS: Final = re.compile(r"\berror=(\d{3})\b")
_NO_CONTACT: Final = "Connection error"
_KINDS: Final = {Priority.CAUTION: "info", Priority.WARNING: "warning", Priority.ALARM: "failure"}
_LOUD: Final = ("apprise", "urllib3", "requests")
"""Loggers that may name an address; without a handler Python would print them beside, or upon, the screen."""


class _Service(Protocol):
    """What is used of a service that the library made of an address."""

    host: str | None


class _Ear(logging.Handler):
    """Keeps, per thread, why the library says a sending failed, as far as it can hold no secret."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self._heard = threading.local()

    def begin(self) -> None:
        """Forget what was heard before in this thread."""
        self._heard.why = "it was not accepted; the service gave no reason that can be shown"

    def emit(self, record: logging.LogRecord) -> None:
        """Listen."""
        text = record.getMessage()
        status = _STATUS.search(text)
        if status is not None:
            self._heard.why = f"refused with status {status[1]}"
        elif _NO_CONTACT in text:
            self._heard.why = "the service could not be reached, or gave no answer"

    @property
    def why(self) -> str:
        """The newest reason in this thread."""
        return cast("str", self._heard.why)


_EAR: Final = _Ear()


class ServiceSender:
    """Sends through one service; blocks."""

    def __init__(self, service: _Service) -> None:
        self._service = service

    def __call__(self, letter: Letter) -> Outcome:
        """Send a letter. What the service or its library raises is the caller's to contain."""
        library = _library()
        sender = library.Apprise(asset=_asset())
        sender.add(self._service)
        _EAR.begin()
        is_accepted = sender.notify(
            title=letter.title, body=letter.body, notify_type=_KINDS[letter.priority], body_format="text"
        )
        return None if is_accepted else _EAR.why

    @property
    def host(self) -> str:
        """Computer that it sends to, in lower case; empty where the address names none."""
        return (getattr(self._service, "host", None) or "").lower()


def sender_for(address: str) -> ServiceSender | None:
    """Make what sends to an address; None when the library does not understand it. Sends nothing yet."""
    library = _library()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library tries what Python has deprecated, and goes on without
        service = library.Apprise.instantiate(address, asset=_asset())
    return None if service is None else ServiceSender(service)


@cache
def _library() -> ModuleType:
    """Import the library and silence it."""
    import apprise  # noqa: PLC0415 -- slow to import, and needed only where channels are configured

    for name in _LOUD:
        logger = logging.getLogger(name)
        logger.propagate = False
        logger.setLevel(logging.WARNING)
        logger.addHandler(_EAR if name == "apprise" else logging.NullHandler())
    warnings.filterwarnings("ignore", module=rf"(?:{'|'.join(_LOUD)})(?:\.|$)")  # they name the computer sent to
    return apprise


def _asset() -> object:
    """Send in the calling thread, not in a pool that the program would wait for at its end; keep nothing on disk.

    The library uses a pool for what it times itself, so it is not to; our own time is longer than that of its sockets.
    """
    return _library().AppriseAsset(async_mode=False, service_timeout=0, storage_mode="memory", secure_logging=True)
