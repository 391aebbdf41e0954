"""From which to which value a graph reaches, its round labels, and values in words. Pure.

Owns what is sensible for each unit: a flat curve must not have its noise blown up to full height. Knows no cells.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, NamedTuple

from monitor.tui.words import duration

_SANE: Final = 1e12
"""No value of a machine is beyond this; what is, is drawn at the edge."""

_ROUND: Final = tuple(mantissa * 10.0**power for power in range(-3, 13) for mantissa in (1, 2, 5))
ROUND_S: Final = (
    *(60.0 * minutes for minutes in (1, 2, 5, 10, 15, 30)),
    *(3600.0 * hours for hours in (1, 2, 3, 6, 12, 24, 48, 120, 240)),
    *(86_400.0 * 10.0**power for power in range(2, 8)),
)
"""Round lengths of time [s]."""

_MOST_STEPS: Final = 4
_HOUR_S: Final = 3600.0
_MINUTE_S: Final = 60.0
_TRIFLE: Final = 0.05
"""So little below 0, as a share of the range, is not worth room below 0."""

_LONG_AHEAD_S: Final = 8 * _HOUR_S
_WHOLE_FROM: Final = 20.0
_BRIEF_FROM: Final = 1e5


class _Manner(NamedTuple):
    """How values of a unit are drawn.

    `least` is the least range [unit]; `from_zero` whether 0 is always in it; a limit is taken into the range when it
    lies within `reach` of the values, else it is named at the edge.
    """

    least: float
    from_zero: bool
    reach: float


_MANNERS: Final = {
    "°C": _Manner(10.0, from_zero=False, reach=40.0),
    "%": _Manner(10.0, from_zero=True, reach=100.0),
    "min": _Manner(10.0, from_zero=True, reach=math.inf),
    "s": _Manner(600.0, from_zero=True, reach=math.inf),
    "mm": _Manner(10.0, from_zero=True, reach=math.inf),
    "mm/s": _Manner(2.0, from_zero=True, reach=math.inf),
}
_ANY_MANNER: Final = _Manner(1.0, from_zero=False, reach=math.inf)


@dataclass(frozen=True, slots=True)
class Scale:
    """From `bottom` to `top`, both round; `labels` are the round values worth naming, from the bottom up."""

    bottom: float
    top: float
    labels: tuple[tuple[float, str], ...]


def scale_for(unit: str, values: Iterable[float], limits: Iterable[float] = ()) -> Scale:
    """Scale for these values; limits near them are taken in. What is not finite counts for nothing.

    Where no value is left nothing is named.

    >>> scale_for("°C", [194.6, 195.3], [195.0]).labels
    ((185.0, '185'), (200.0, '200'))
    >>> scale_for("min", [3.0, 4.5], [60.0, 100.0]).labels
    ((0.0, '0'), (50.0, '50'), (100.0, '100'))
    >>> scale_for("s", [math.inf, 5000.0, 400_000.0]).labels
    ((0.0, '0'), (14400.0, '4 h'), (28800.0, '8 h'))
    """
    manner = _MANNERS.get(unit, _ANY_MANNER)
    sane = [value for value in values if abs(value) <= _SANE]
    low, high = _ends(unit, manner, sane)
    for limit in limits:
        if low - manner.reach <= limit <= high + manner.reach and abs(limit) <= _SANE:
            low, high = min(low, limit), max(high, limit)
    missing = manner.least - (high - low)
    if missing > 0:
        low, high = (low, high + missing) if manner.from_zero and low >= 0 else (low - missing / 2, high + missing / 2)
    return _rounded(unit, low, high) if sane else Scale(low, high, ())


def value_words(unit: str, value: float) -> str:
    """A value with its unit; a time is rounded down.

    >>> value_words("°C", 194.6), value_words("mm/s", 2.14), value_words("s", 5000.0), value_words("s", math.inf)
    ('195 °C', '2.1 mm/s', '1 h 23 min', 'no limit ahead')
    """
    if math.isnan(value):
        return f"– {unit}"
    if unit == "s":
        return "no limit ahead" if value == math.inf else duration(min(max(value, 0.0), _SANE))
    return f"{number(value)} {unit}"


def number(value: float) -> str:
    """A number as short as it is useful.

    >>> [number(value) for value in (0.0, 2.14, -0.02, 252.4, 3e9, math.nan)]
    ['0', '2.1', '0', '252', '3e+09', '–']
    """
    if not math.isfinite(value):
        return "–"
    if abs(value) >= _BRIEF_FROM:
        return f"{value:.0e}"
    rounded = round(value, 0 if abs(value) >= _WHOLE_FROM else 1)
    return f"{rounded + 0.0:.0f}" if rounded == int(rounded) else f"{rounded:.1f}"


def _ends(unit: str, manner: _Manner, values: list[float]) -> tuple[float, float]:
    """Lowest and highest value that must be seen; of times left, only what is not far beyond the shortest."""
    if not values:
        return 0.0, 0.0
    low, high = min(values), max(values)
    if unit == "s":
        high = min(high, max(_LONG_AHEAD_S, 2 * low))
    if not manner.from_zero:
        return low, high
    is_trifle = -_TRIFLE * max(high, manner.least) <= low < 0.0
    return 0.0 if is_trifle else min(low, 0.0), max(high, 0.0)


def _rounded(unit: str, low: float, high: float) -> Scale:
    """The ends moved outwards to multiples of the shortest round step of which few suffice."""
    for step in ROUND_S if unit == "s" else _ROUND:
        first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
        if last - first <= _MOST_STEPS:
            last = max(last, first + 1)
            named = (first, (first + last) // 2, last) if (last - first) % 2 == 0 else (first, last)
            return Scale(first * step, last * step, tuple((at * step, _label(unit, at * step)) for at in named))
    return Scale(low, high, ())


def _label(unit: str, value: float) -> str:
    if unit != "s" or value == 0:
        return number(value) if value >= _WHOLE_FROM or value == round(value, 1) else f"{value:g}"
    if value % _HOUR_S == 0 and abs(value) <= _BRIEF_FROM * _HOUR_S:
        return f"{value / _HOUR_S:g} h"
    return f"{value / _MINUTE_S:g} min"
