"""The words of a notification: what leaves for a telephone or a mail box when an alert wants somebody to act.

Pure. Owns which changes of an alert are told, and the cleaning of their texts for services that may take signs in them
for markup. Knows nothing of channels, threads or the network.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from connectors.clean_text import clean_text
from monitor.clock_text import span_text
from monitor.core.alert_table import ALERT_TABLE
from monitor.core.alert_types import AlertTransition, Priority

TOLD: Final = frozenset({"raised", "re-raised", "escalated", "settled", "goes on"})
"""Changes of an alert that call for something. `cleared` and the like do not: nobody is woken for good news."""

LONGEST_TITLE: Final = 120
LONGEST_TEXT: Final = 600
"""Characters. Ours are far shorter; a device's own words in them may not be."""

_NO_MARKUP: Final = str.maketrans(
    {"<": "‹", ">": "›", "[": "(", "]": ")", "`": "´", "*": "∗", "~": "∼", "|": "¦", "\\": "⧵", "@": "(at)"}
)
"""Signs that some service takes for markup, a link, or the name of somebody to call, and what is sent for them."""


@dataclass(frozen=True, slots=True)
class Message:
    """What is told of an alert; `since` and `told` are times of day with their zone."""

    priority: Priority
    title: str
    text: str
    action: str
    since: datetime
    told: datetime

    def body(self, *, is_late: bool = False) -> str:
        """All but the title, in lines."""
        lasted_s = (self.told - self.since).total_seconds()
        lines = [self.text, f"do: {self.action}" if self.action else "", f"since {_moment(self.since)}"]
        lines[-1] += f", for {span_text(lasted_s)}" if lasted_s >= 1.0 else ""
        if is_late:
            lines.append(f"late: this was first tried at {_moment(self.told)}")
        return "\n".join(filter(None, lines))


def message_of(transition: AlertTransition, machine: str, now: datetime) -> Message | None:
    """Tell a change of an alert that happens `now`; None for one that nobody needs to act on.

    What is folded under another alert is not told: the one that has the cause tells it.
    """
    alert = transition.alert
    if transition.event not in TOLD or alert.folded_under:
        return None
    rule = ALERT_TABLE.get(alert.condition)
    event = "" if transition.event == "raised" else f", {transition.event}"
    title = f"{alert.priority.name}: {alert.subject}, {rule.title if rule else alert.condition}{event} ({machine})"
    also = f" The same cause: {', '.join(alert.also)}." if alert.also else ""
    return Message(
        priority=alert.priority,
        title=plain(title, LONGEST_TITLE),
        text=plain(alert.text, LONGEST_TEXT) + plain(also, LONGEST_TITLE),
        action=plain(alert.action, LONGEST_TEXT),
        since=now - timedelta(seconds=max(0.0, transition.time_s - alert.since_s)),
        told=now,
    )


def trial_message(now: datetime) -> Message:
    """Give the message that only tries a channel."""
    return Message(
        priority=Priority.ALARM,
        title="test of strandwatch",
        text="This is only a test: nothing is wrong with the machine.",
        action="Nothing. Should this not have woken you, find out why before you rely on it.",
        since=now,
        told=now,
    )


def plain(text: str, limit: int) -> str:
    r"""One line that no terminal and no service's markup can take for more than text.

    >>> plain("T\x1b[31m <b>@all</b>\n[x](y)", 100)
    'T␛(31m ‹b›(at)all‹/b› (x)(y)'
    """
    return clean_text(text, limit).translate(_NO_MARKUP)


def _moment(time: datetime) -> str:
    return f"{time:%H:%M on %Y-%m-%d}"
