"""What the owner's file of channels comes to: whom to tell, when to tell again, and whom to give a sign of life."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from monitor.clock_text import span_text
from monitor.notify.attempt import Channel
from monitor.notify.check_in import CheckIn
from monitor.notify.ladder import REPEAT_MIN

MINUTE_S: Final = 60.0


@dataclass(frozen=True, slots=True)
class NotifyPlan:
    """The channels, the time between repeats [s], and the check-in, if there is one."""

    channels: tuple[Channel, ...] = ()
    repeat_s: float = REPEAT_MIN * MINUTE_S
    check_in: CheckIn | None = None


def ladder_text(plan: NotifyPlan) -> str:
    """Say who is told of an ALARM, and when; and how often there is a sign of life for somebody outside."""
    steps = [f"{', '.join(names)} {when}" for when, names in _steps(plan)]
    again = f"then all again every {span_text(plan.repeat_s)}"
    outside = "" if plan.check_in is None else f"; a check-in every {span_text(plan.check_in.every_s)}"
    return f"an ALARM goes to {'; '.join(steps)}; {again}, until it is acknowledged or over{outside}"


def channel_text(channel: Channel) -> str:
    """Say from which priority on a channel is used."""
    return f"{channel.name} (from {channel.at_least.name} on)"


def _steps(plan: NotifyPlan) -> Iterator[tuple[str, list[str]]]:
    for after_s in sorted({channel.after_s for channel in plan.channels}):
        names = [channel.name for channel in plan.channels if channel.after_s == after_s]
        yield ("at once" if after_s == 0 else f"after {span_text(after_s)}"), names
