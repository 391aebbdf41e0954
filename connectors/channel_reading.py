"""One channel out of a status document: its value in our unit, or the reason why there is none.

Pure and without memory: what a value must be held against from one reading to the next is in `channel_memory`.
"""

import math
import re
from dataclasses import dataclass
from typing import Final

from connectors.json_patch import same_json
from connectors.json_pointer import Json, NotThereError, Tokens, find, parse_pointer
from connectors.plausibility import TemperatureBounds
from connectors.telemetry import Execution
from connectors.websocket_channels import EXECUTION, UNITS, ChannelSource, FindByName, kind_of

_NUMBER_TEXT: Final = re.compile(r"-?(?:0|[1-9]\d{0,30})(?:\.\d{1,30})?(?:[eE][+-]?\d{1,3})?", re.ASCII)
_NONE_REASON: Final = "is null"

_FACTORS: Final = {"F": 5 / 9, "m": 1000.0, "um": 0.001, "percent": 0.01}
_SHIFTS: Final = {"F": -32 * 5 / 9, "K": -273.15}

_LIMITS: Final = {
    "duty": (0.0, 1.0),
    "stall": (0.0, 1.0),
    "progress": (0.0, 1.0),
    "file_byte": (0.0, math.inf),
}


class UnreadableError(Exception):
    """What stands there is no value of this channel; the text says why."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What was read: exactly one of value, word and reason is given."""

    value: float | None = None
    word: Execution | None = None
    reason: str | None = None


class ChannelReader:
    """Reads one channel from any document.

    Parameters
    ----------
    name : str
        Channel, or "execution".
    source : ChannelSource
        Where it stands and how it is read; checked by the settings.
    bounds : TemperatureBounds or None
        Which temperatures can be true, where the channel itself does not say; None for the defaults.
    """

    def __init__(self, name: str, source: ChannelSource, bounds: TemperatureBounds | None = None) -> None:
        self.name = name
        self.kind = kind_of(name)
        self.tokens: Tokens | None = None if source.pointer is None else parse_pointer(source.pointer)
        self._source = source
        self._unit = source.unit or UNITS.get(self.kind, ("",))[0]
        bounds = bounds or TemperatureBounds()
        limits = _LIMITS | {"temp_c": (bounds.lowest_c, bounds.highest_c), "set_c": (0.0, bounds.highest_c)}
        lowest, highest = limits.get(self.kind, (-math.inf, math.inf))
        self._lowest = lowest if source.min is None else source.min
        self._highest = highest if source.max is None else source.max

    def read(self, document: Json) -> Reading:
        """Value in the channel's own unit, the word of execution, or the reason why neither was taken."""
        try:
            raw = self._locate(document)
            return Reading(word=self._word(raw)) if self.name == EXECUTION else Reading(value=self._value(raw))
        except (NotThereError, UnreadableError) as error:
            return Reading(reason=str(error))

    def span_mm(self, reported: float) -> float:
        """Length [mm] that a difference of the reported number stands for."""
        return reported * self._source.scale * _FACTORS.get(self._unit, 1.0)

    def _locate(self, document: Json) -> Json:
        if self.tokens is not None:
            return find(document, self.tokens)
        if self._source.find is None:
            raise UnreadableError("no place is given")
        return _find_by_name(document, self._source.find)

    def _word(self, raw: Json) -> Execution:
        text = _as_word(raw)
        if text not in self._source.words:
            raise UnreadableError(_unknown_word(text))
        return self._source.words[text]

    def _value(self, raw: Json) -> float:
        text = _as_word(raw)
        if text in self._source.numbers:
            return self._source.numbers[text]
        number = self._number(raw)
        if self.kind == "set_c" and number == 0:
            return 0.0  # off, in whichever unit
        value = self._converted(number)
        if not self._lowest <= value <= self._highest:
            raise UnreadableError(
                f"{value:g} is outside {self._lowest:g} to {self._highest:g}: no sensor, or its fault?"
            )
        return value

    def _number(self, raw: Json) -> float:
        """Reported number; a text only where the profile says so, and true or false only for a stall flag."""
        if isinstance(raw, bool):
            if self.kind == "stall":
                return float(raw)
            raise UnreadableError(f"is {_as_word(raw)}, which is no number")
        if isinstance(raw, str):
            return self._number_in_text(raw)
        if not isinstance(raw, int | float):
            raise UnreadableError(_NONE_REASON if raw is None else "is no plain value")
        return _finite(raw)

    def _number_in_text(self, text: str) -> float:
        if not self._source.accept_strings:
            raise UnreadableError(f"{_unknown_word(text)}; a number in quotes is taken only with accept_strings = true")
        if not _NUMBER_TEXT.fullmatch(text.strip(" ")):
            raise UnreadableError(f"is {text[:40]!r}, which is no number")
        return _finite(float(text))

    def _converted(self, number: float) -> float:
        scaled = number * self._source.scale + self._source.offset
        return _finite(scaled * _FACTORS.get(self._unit, 1.0) + _SHIFTS.get(self._unit, 0.0))


def _find_by_name(document: Json, by: FindByName) -> Json:
    elements = find(document, parse_pointer(by.among))
    if isinstance(elements, dict):
        elements = list(elements.values())
    if not isinstance(elements, list):
        raise UnreadableError(f"{by.among} holds no elements to search")
    where = parse_pointer(by.where)
    found = [element for element in elements if _holds(element, where, by.equals)]
    if len(found) != 1:
        raise UnreadableError(f"{len(found)} matches for {by.where} = {by.equals!r} in {by.among or 'the status'}")
    return find(found[0], parse_pointer(by.value))


def _holds(element: Json, where: Tokens, wanted: Json) -> bool:
    try:
        return same_json(find(element, where), wanted)
    except NotThereError:
        return False


def _finite(number: float) -> float:
    """As a float; raises UnreadableError for what is infinite or too great for one."""
    try:
        value = float(number)
    except OverflowError:
        value = math.inf
    if not math.isfinite(value):
        raise UnreadableError("is too great for a number")
    return value


def _as_word(raw: Json) -> str | None:
    """Key under which a reported value may stand in the profile's `words` and `numbers`."""
    if raw is None:
        return "null"
    if isinstance(raw, bool):
        return str(raw).lower()
    if isinstance(raw, float) and raw.is_integer() and abs(raw) < 2**53:
        return str(int(raw))
    return str(raw) if isinstance(raw, str | float) or (isinstance(raw, int) and abs(raw) < 2**53) else None


def _unknown_word(text: str | None) -> str:
    return (
        _NONE_REASON if text == "null" else f"is {(text or 'no plain value')[:40]!r}, which the profile does not know"
    )
