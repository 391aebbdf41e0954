"""Which curves belong together, and what of a curve's limits is drawn. Pure."""

from collections.abc import Iterator, Sequence
from typing import Final

from monitor.core.alert_types import Priority
from monitor.core.assessment import Assessment
from monitor.history.channels import Channel, channels_of
from monitor.tui.trends.choice import Group, TrendChoice

_KINDS: Final = {
    Group.WALLS: ("wall", "duty", "liner"),
    Group.DOSES: ("dose", "shared channel"),
    Group.TIME_LEFT: ("left",),
    Group.SOFT_FRONTS: ("soft front",),
    Group.FEEDS: ("feed", "slip"),
}
"""What keys of curves begin with (`monitor.history.channels`), in order."""

_SIGNALS: Final = {
    "warn": Priority.WARNING,
    "limit": Priority.ALARM,
    "alarm": Priority.ALARM,
    "stop": Priority.ALARM,
}
"""What it means to reach a limit, by its name; set points and the like mean nothing."""


def channels_shown(trend: TrendChoice, latest: Assessment) -> tuple[Channel, ...]:
    """The curves of the chosen group, or the chosen one alone; those of a strand beside each other."""
    channels = channels_of(latest)
    if trend.group is Group.ONE:
        return tuple(channel for channel in channels if channel.key == trend.channel)
    kinds = _KINDS[trend.group]
    ranked = [(rank, channel) for channel in channels if (rank := _rank(channel.key, kinds)) is not None]
    return tuple(channel for _, channel in sorted(ranked, key=lambda it: _place(*it)))


def alone_or_back(trend: TrendChoice, latest: Assessment) -> TrendChoice:
    """The marked value alone; from one alone back to those it belongs to, if it belongs to any."""
    if trend.group is not Group.ONE:
        shown = channels_shown(trend, latest)
        return trend.of(shown[min(trend.marked, len(shown) - 1)].key) if shown else trend
    group = next((group for group, kinds in _KINDS.items() if _rank(trend.channel, kinds) is not None), None)
    if group is None:
        return trend
    keys = [channel.key for channel in channels_shown(trend.within(group, 0), latest)]
    return trend.within(group, keys.index(trend.channel) if trend.channel in keys else 0)


def titles(latest: Assessment | None) -> tuple[tuple[str, str], ...]:
    """Keys and titles of all curves, to find them by."""
    return () if latest is None else tuple((it.key, it.title) for it in channels_of(latest))


def set_key_of(channel: Channel) -> str | None:
    """Key of the curve of a wall's set point: where it was drawn once, it may have been changed since."""
    kind, _, name = channel.key.partition(" ")
    return f"set {name}" if kind == "wall" else None


def drawn_limits(channel: Channel) -> Iterator[tuple[str, float, Priority | None]]:
    """Limits with their names and what it means to reach them, as far as they are known."""
    is_front = channel.key.startswith("soft front")
    for limit in channel.limits:
        if limit.value is not None:
            yield ("stiff", limit.value, None) if is_front else (limit.name, limit.value, _SIGNALS.get(limit.name))


def _rank(key: str, kinds: Sequence[str]) -> int | None:
    return next((at for at, kind in enumerate(kinds) if key == kind or key.startswith(f"{kind} ")), None)


def _place(rank: int, channel: Channel) -> tuple[int, int]:
    """By kind; curves of a strand by strand first, before those of the machine."""
    return (len(_KINDS) + rank, 0) if channel.input is None else (0, channel.input)
