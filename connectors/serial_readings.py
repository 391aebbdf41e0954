"""The two replies that carry readings, temperatures and positions: text of a line -> typed values, or nothing at all.

Pure grammar. A line carries no checksum, so it must match to its last character: a number cut short in the middle of
a line must not become a reading. Every expression here is matched token by token, which keeps the cost linear.
"""

import math
import re
from collections.abc import Mapping
from typing import Final

from connectors.serial_words import Heat, Position, Temperatures

_NUMBER: Final = r"[+-]?(?:\d{1,12}(?:\.\d{0,12})?|\.\d{1,12})"
_HEAT_NUMBER: Final = rf"(?:{_NUMBER}|[+-]?nan|[+-]?inf)"
_HEAT: Final = re.compile(
    rf" *(?P<key>T\d{{0,2}}|[BCPAR]\d?): *(?P<now>{_HEAT_NUMBER})(?: */ *(?P<set>{_HEAT_NUMBER}))?(?= |$)",
    re.IGNORECASE | re.ASCII,
)
_POWER: Final = re.compile(rf" *(?P<key>[A-Z]\d{{0,2}})?@(?P<index>\d{{1,2}})?: *(?P<value>{_NUMBER})(?= |$)", re.ASCII)
_WAITS_FOR: Final = re.compile(r" *E: *(?P<tool>\d{1,2})(?= |$)", re.ASCII)
_WAIT_LEFT: Final = re.compile(rf" *W: *(?P<left>{_NUMBER}|\?)(?= |$)", re.ASCII)

_POSITION_START: Final = re.compile(r" *(?:C: *)?(?=X:)")
_AXIS: Final = re.compile(rf" *(?P<name>[A-Z])(?P<index>\d{{0,2}}): *(?P<value>{_NUMBER})(?= |$)", re.ASCII)
_COUNT: Final = re.compile(r" *Count(?= )")
_BARE: Final = re.compile(rf" *(?P<value>{_NUMBER})(?= |$)", re.ASCII)
_LABEL: Final = re.compile(rf" *[A-Z][a-z]+(?: [a-z]+)?(?= +{_NUMBER})", re.ASCII)

ABSOLUTE_ZERO_C: Final = -273.1
"""What controllers print [°C] where there is no sensor or no heater: absolute zero, cut to one decimal."""


def read_temperatures(text: str, *, is_answer: bool) -> Temperatures | None:
    """Temperature report in `text`, or None when it is not one from end to end.

    >>> read_temperatures("T:201.3 /200.0 @:64", is_answer=True).heats["T"]
    Heat(now_c=201.3, set_c=200.0)
    """
    heats: dict[str, Heat] = {}
    power: dict[str, float] = {}
    waits_for: int | None = None
    wait_s: float | None = None
    is_waiting = False
    at = 0
    while at < len(text):
        if found := _HEAT.match(text, at):
            key = found["key"].upper()
            if key in heats:
                return None  # two values for one heater: two lines run into one
            heats[key] = Heat(_celsius(found["now"]), _celsius(found["set"]))
        elif found := _POWER.match(text, at):
            power[_power_key(found)] = float(found["value"])
        elif found := _WAITS_FOR.match(text, at):
            waits_for, is_waiting = int(found["tool"]), True
        elif found := _WAIT_LEFT.match(text, at):
            wait_s, is_waiting = _seconds(found["left"]), True
        else:
            return None
        at = found.end()
    return Temperatures(is_answer, heats, power, waits_for, wait_s, is_waiting) if heats else None


def read_position(text: str, *, is_answer: bool) -> Position | None:
    """Position report in `text`, or None when it is not one from end to end.

    >>> read_position("X:1.0 Y:2.0 Z:0.4 E:12.3", is_answer=False).feed_mm
    12.3
    """
    start = _POSITION_START.match(text)
    if start is None:
        return None
    named, at = _read_axes(text, start.end())
    count: Mapping[str, float] | tuple[float, ...] | None = None
    if found := _COUNT.match(text, at):
        count, at = _read_count(text, found.end())
    while found := _LABEL.match(text, at):
        _, at = _read_bare(text, found.end())
    if named is None or at < len(text):
        return None
    drives_mm = {int(name[1:]): value for name, value in named.items() if len(name) > 1 and name[0] == "E"}
    axes_mm = {name: value for name, value in named.items() if name[0] != "E"}
    return Position(is_answer, axes_mm, named.get("E"), drives_mm, count)


def _read_axes(text: str, at: int) -> tuple[dict[str, float] | None, int]:
    """Labelled values from `at` on, and where they end; None for a label that comes twice."""
    named: dict[str, float] = {}
    while found := _AXIS.match(text, at):
        name = found["name"] + found["index"]
        if name in named:
            return None, at
        named[name] = float(found["value"])
        at = found.end()
    return named, at


def _read_count(text: str, at: int) -> tuple[Mapping[str, float] | tuple[float, ...], int]:
    labelled, end = _read_axes(text, at)
    return (labelled, end) if labelled else _read_bare(text, at)


def _read_bare(text: str, at: int) -> tuple[tuple[float, ...], int]:
    values: list[float] = []
    while found := _BARE.match(text, at):
        values.append(float(found["value"]))
        at = found.end()
    return tuple(values), at


def _celsius(text: str | None) -> float | None:
    if text is None:
        return None
    value = float(text)
    return value if math.isfinite(value) and value > ABSOLUTE_ZERO_C else None


def _power_key(found: re.Match[str]) -> str:
    """Heater word of a power token: `@` belongs to the active tool, `@1` to tool 1, `B@` to the bed."""
    key, index = found["key"], found["index"]
    return (key or "T") + (index or "")


def _seconds(text: str) -> float | None:
    return None if text == "?" else float(text)
