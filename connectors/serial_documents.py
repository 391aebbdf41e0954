"""A JSON object in a serial line -> the replies that say the same, so that one way leads from a reply to our channels.

Owns where in such an object a value stands. Values that are missing, null or no finite numbers are absent.
"""

import math
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from connectors.json_pointer import NotThereError, find, parse_pointer
from connectors.serial_readings import ABSOLUTE_ZERO_C
from connectors.serial_words import ActiveTool, Document, Heat, Position, Temperatures


def _checked_pointer(text: str) -> str:
    parse_pointer(text)
    return text


Pointer = Annotated[str, AfterValidator(_checked_pointer)]


class JsonPlaces(BaseModel):
    """Where values stand in the JSON objects of a controller, as JSON Pointers (RFC 6901).

    Temperatures are mapped in `sensors`: there a pointer such as "/melt/1" may stand instead of a heater word.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    set_points: dict[str, Pointer] = Field(
        default_factory=dict, description="our sensor name -> place of its set point [°C]"
    )
    axis: Pointer | None = Field(default=None, description="place of the single feed axis [mm]")
    drives: Pointer | None = Field(default=None, description="place of an array with one feed value per drive [mm]")
    tool: Pointer | None = Field(default=None, description="place of the active tool's number; null for none")


def read_document(
    document: Document, sensors: dict[str, str], places: JsonPlaces
) -> list[ActiveTool | Position | Temperatures]:
    """Say what `document` says in the words of other replies, the active tool first, because feed depends on it."""
    replies: list[ActiveTool | Position | Temperatures] = []
    if places.tool is not None and (tool := _tool(document, places.tool)) is not None:
        replies.append(tool)
    axis_mm, drives_mm = _number(document, places.axis), _drives(document, places.drives)
    if axis_mm is not None or drives_mm:
        replies.append(Position(document.is_answer, {}, axis_mm, drives_mm))
    heats = {
        word: Heat(_celsius(document, word), _celsius(document, places.set_points.get(name)))
        for name, word in sensors.items()
        if word.startswith("/") and _value(document, word) is not _MISSING
    }
    if heats:
        replies.append(Temperatures(document.is_answer, heats, power={}))
    return replies


_MISSING = object()


def _value(document: Document, pointer: str | None) -> Any:  # noqa: ANN401 -- any JSON value
    if pointer is None:
        return _MISSING
    try:
        return find(document.content, parse_pointer(pointer))
    except NotThereError:
        return _MISSING


def _number(document: Document, pointer: str | None) -> float | None:
    return _finite(_value(document, pointer))


def _finite(value: object) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


def _celsius(document: Document, pointer: str | None) -> float | None:
    value = _number(document, pointer)
    return None if value is None or value <= ABSOLUTE_ZERO_C else value


def _drives(document: Document, pointer: str | None) -> dict[int, float]:
    values = _value(document, pointer)
    numbers = [_finite(value) for value in values] if isinstance(values, list) else []
    return {drive: number for drive, number in enumerate(numbers) if number is not None}


def _tool(document: Document, pointer: str) -> ActiveTool | None:
    value = _value(document, pointer)
    if value is None:
        return ActiveTool(-1)
    if value is _MISSING:
        return None
    is_number = isinstance(value, int) and not isinstance(value, bool)
    return ActiveTool(value if is_number else -1)  # what is no number names no tool that the profile has
