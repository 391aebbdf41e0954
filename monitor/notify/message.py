"""The words of a notification: what leaves for a telephone or a mail box when an alert wants somebody to act.

Pure. Owns which changes of an alert are told, and the cleaning of their texts for services that may take signs in them
for markup. Knows nothing of channels, threads or the network.
"""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

from connectors.clean_text import clean_text
from monitor.clock_text import span_text
from monitor.core.alert_table import ALERT_TABLE
from monitor.core.alert_types import Alert, AlertState, AlertTransition, Priority

_NO_NEWS: Final = frozenset({"eased", "confirmed"})
"""Changes of an alert that calls already, for no more than before: nobody is woken for these."""

_NEW_TO_THE_OWNER: Final = frozenset({"settled", "goes on"})
"""Changes that are told also when the alert has been seen: what it says to do is another thing now."""

LONGEST_TITLE: Final = 120
LONGEST_TEXT: Final = 600
"""Characters. Ours are far shorter; a device's own words in them may not be."""

_NO_MARKUP: Final = str.maketrans(
    {"<": "‹", ">": "›", "[": "(", "]": ")", "`": "´", "*": "∗", "~": "∼", "|": "¦", "\\": "⧵", "@": "(at)"}
)
"""Signs that some service takes for markup, a link, or the name of somebody to call, and what is sent for them."""


@dataclass(frozen=True, slots=True)
class Message:
    """What is told; `since` and `told` are times of day with their zone. `repeat` counts from 1; otherwise it is 0."""

    priority: Priority
    title: str
    text: str
    action: str
    since: datetime
    told: datetime
    alert_id: str = ""  # empty where it is not about an alert
    event: str = ""  # what happened, in one word or two; for the record
    repeat: int = 0
    note: str = ""  # why it is told, where that is not plain

    def body(self, *, is_late: bool = False) -> str:
        """All but the title, in lines."""
        lasted_s = (self.told - self.since).total_seconds()
        lines = [self.text, f"do: {self.action}" if self.action else "", f"since {_day_text(self.since)}"]
        lines[-1] += f", for {span_text(lasted_s)}" if lasted_s >= 1.0 else ""
        lines.append(self.note)
        if is_late:
            lines.append(f"late: this was first tried at {_day_text(self.told)}")
        return "\n".join(filter(None, lines))


@dataclass(frozen=True, slots=True)
class Instant:
    """When something is told: machine time [s], and the time of day."""

    time_s: float
    now: datetime


def wants_to_be_seen(alert: Alert) -> bool:
    """Whether an alert stands, is announced, has the cause, and nobody has acknowledged it."""
    return alert.state is AlertState.UNACKNOWLEDGED and not alert.folded_under


def alert_name(alert: Alert) -> str:
    """Priority, subject and what it is, in a few words; not cleaned."""
    rule = ALERT_TABLE.get(alert.condition)
    return f"{alert.priority.name}: {alert.subject}, {rule.title if rule else alert.condition}"


def message_of(transition: AlertTransition, machine: str, now: datetime) -> Message | None:
    """Tell a change of an alert that happens `now`; None for one that nobody needs to act on.

    What is folded under another alert is not told: the one that has the cause tells it.
    """
    alert, event = transition.alert, transition.event
    is_changed = alert.state is AlertState.ACKNOWLEDGED and not alert.folded_under and event in _NEW_TO_THE_OWNER
    if event in _NO_NEWS or not (is_changed or wants_to_be_seen(alert)):
        return None
    return _about(alert, event, "" if event == "raised" else f", {event}", machine, Instant(transition.time_s, now))


def reminder_of(alert: Alert, repeat: int, machine: str, moment: Instant) -> Message:
    """Tell an alert again, because nobody has acknowledged it; to people not told before, `repeat` is 0."""
    again = f", told again ({repeat})" if repeat else ", not acknowledged"
    note = f"Repeat {repeat}: nobody has acknowledged it yet." if repeat else "Nobody has acknowledged it yet."
    message = _about(alert, "repeat" if repeat else "not acknowledged", again, machine, moment)
    return replace(message, repeat=repeat, note=note)


def resumed_message(alert: Alert, machine: str, moment: Instant) -> Message:
    """Tell an alert that stood already when the watch began anew: what was told before may not have been sent."""
    return _about(alert, "still there", ", still there after a new start of the watch", machine, moment)


def end_message(reason: str, priority: Priority, machine: str, now: datetime) -> Message:
    """Tell that nobody watches the machine any more."""
    return Message(
        priority=priority,
        title=plain(f"{priority.name}: the watch has ended ({machine})", LONGEST_TITLE),
        text=plain(f"The watch has ended: {reason}. Nothing more will be told of this machine.", LONGEST_TEXT),
        action="Look after the machine yourself, or start the watch again.",
        since=now,
        told=now,
        event="watch ended",
    )


def trial_message(now: datetime, note: str = "") -> Message:
    """Give the message that only tries a channel."""
    return Message(
        priority=Priority.ALARM,
        title="test of strandwatch",
        text="This is only a test: nothing is wrong with the machine.",
        action="Nothing. Should this not have woken you, find out why before you rely on it.",
        since=now,
        told=now,
        event="test",
        note=note,
    )


def _about(alert: Alert, event: str, what: str, machine: str, moment: Instant) -> Message:
    also = f" The same cause: {', '.join(alert.also)}." if alert.also else ""
    return Message(
        priority=alert.priority,
        title=plain(f"{alert_name(alert)}{what} ({machine})", LONGEST_TITLE),
        text=plain(alert.text, LONGEST_TEXT) + plain(also, LONGEST_TITLE),
        action=plain(alert.action, LONGEST_TEXT),
        since=moment.now - timedelta(seconds=max(0.0, moment.time_s - alert.since_s)),
        told=moment.now,
        alert_id=alert.id,
        event=event,
        note=plain(
            _sentence(alert.story[-1].why if alert.story and alert.story[-1].event == event else ""), LONGEST_TITLE
        ),
    )


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}." if words else ""


def plain(text: str, limit: int) -> str:
    r"""One line that no terminal and no service's markup can take for more than text.

    >>> plain("T\x1b[31m <b>@all</b>\n[x](y)", 100)
    'T␛(31m ‹b›(at)all‹/b› (x)(y)'
    """
    return clean_text(text, limit).translate(_NO_MARKUP)


def _day_text(time: datetime) -> str:
    return f"{time:%H:%M on %Y-%m-%d}"
