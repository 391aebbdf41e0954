"""Calls whoever is near the terminal: the bell, and where the owner wants it a desktop notification (OSC 9).

`TerminalCall` is pure; `LineCall` writes for a watch that prints lines. BEL is understood everywhere. OSC 9 is no
standard: a terminal may pass over it or, rarely, show it as text, so it is sent only on demand.
"""

from collections.abc import Callable, Mapping
from contextlib import suppress
from typing import Final, NamedTuple, TextIO

from monitor.core.alert_types import Alert, AlertState, Priority
from monitor.notify.message import alert_name, plain
from monitor.step import Step

AGAIN_S: Final = 30.0
"""A sound returns after this long while nobody has acknowledged (IMO MSC.252(83), 20.2) [s]."""

BEL: Final = "\a"
LONGEST_NOTICE: Final = 150


class Calling(NamedTuple):
    """What to do now: ring, and show these texts as notifications; each is a whole control sequence."""

    rings: bool
    notices: tuple[str, ...]


class TerminalCall:
    """Decides when to ring and to notify.

    Parameters
    ----------
    bell, notices : bool
        What the owner wants.
    """

    def __init__(self, *, bell: bool, notices: bool) -> None:
        self._bell, self._notices = bell, notices
        self._known: frozenset[str] = frozenset()
        self._rang_s: float | None = None

    def look(self, alarms: Mapping[str, Alert], now_s: float) -> Calling:
        """What to do about the ALARMs, by their ids, that nobody has acknowledged by now."""
        new = [alert for id_, alert in alarms.items() if id_ not in self._known]
        self._known = frozenset(alarms)
        is_due = self._rang_s is None or not 0.0 <= now_s - self._rang_s < AGAIN_S  # also after a clock set back
        rings = self._bell and bool(alarms) and (bool(new) or is_due)
        if rings:
            self._rang_s = now_s
        return Calling(rings, tuple(map(notice_text, new)) if self._notices else ())


class LineCall:
    """Calls the owner where a watch prints lines on a terminal. An onlooker; it needs the changes of alerts alone.

    Parameters
    ----------
    out : TextIO
        The terminal.
    call : TerminalCall
    monotonic : callable
        Seconds that only go forward: a night that is replayed in a minute rings as often as a minute does.
    """

    def __init__(self, out: TextIO, call: TerminalCall, monotonic: Callable[[], float]) -> None:
        self._out, self._call, self._monotonic = out, call, monotonic
        self._alarms: dict[str, Alert] = {}

    def take(self, step: Step) -> None:
        """Follow the alerts of a step; write what calls. A terminal that takes nothing is the printer's to tell."""
        for transition in step.transitions:
            self._alarms.pop(transition.alert.id, None)
            if is_unseen_alarm(transition.alert):
                self._alarms[transition.alert.id] = transition.alert
        call = self._call.look(self._alarms, self._monotonic())
        text = "".join((BEL if call.rings else "", *call.notices))
        if text:
            with suppress(OSError, ValueError):
                self._out.write(text)
                self._out.flush()


def is_unseen_alarm(alert: Alert) -> bool:
    """Whether an alert is an ALARM that stands, is shown by itself, and has not been acknowledged."""
    return alert.priority is Priority.ALARM and alert.state is AlertState.UNACKNOWLEDGED and not alert.folded_under


def notice_text(alert: Alert) -> str:
    r"""Control sequence of a desktop notification: OSC 9, the text without a sign that could end it, ST.

    ST (ESC backslash, ECMA-48 8.3.143) ends it where BEL would be heard as well.
    """
    return f"\x1b]9;{plain(alert_name(alert), LONGEST_NOTICE)}\x1b\\"
