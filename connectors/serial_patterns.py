"""Lines no convention covers (motion sensors, driver messages), read by patterns from the owner's profile.

Owns the check of such a pattern on load, and how one line matches it. A pattern comes from the owner and is trusted in
what it means, but not in what it costs: one that could take for ever on an unlucky line is refused.
"""

import math
import re
from collections.abc import Mapping
from functools import cached_property
from typing import Final, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

LONGEST_PATTERN: Final = 300
LONGEST_MATCHED_LINE: Final = 256
"""Longer lines are not matched against patterns [characters]: a repeated match may cost the square of the length."""
MOST_OPEN_REPEATS: Final = 3

PatternKind = Literal["sensed_mm", "stall", "temp_c", "set_c", "duty"]
INPUT_KINDS: Final = frozenset({"sensed_mm", "stall"})

_ESCAPED: Final = re.compile(r"\\.")
_CLASS: Final = re.compile(r"\[\^?\]?[^\]]*\]")
_REPEATED_GROUP: Final = re.compile(r"\)(?:[*+]|\{)")
_OPEN_REPEAT: Final = re.compile(r"(?:\.|\\[wWSD]|\[\^\]?[^\]]*\])(?:[*+]|\{\d*,\})")
_BACK_REFERENCE: Final = re.compile(r"\\[1-9]|\(\?P=")


class PatternValue(BaseModel):
    """How one channel's value comes from a matched line: a number or word in a group, or a constant."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    group: str | None = Field(default=None, description="named group that holds the value")
    constant: float | None = Field(default=None, description="value whenever the line appears, instead of a group")
    scale: float = Field(default=1.0, description="factor into our unit (mm, °C, 0..1)")
    words: dict[str, float] = Field(default_factory=dict, description="word in the group -> value, for words")

    @model_validator(mode="after")
    def _has_one_source(self) -> Self:
        if (self.group is None) == (self.constant is None):
            raise ValueError("give either 'group' (a named group of the regex) or 'constant', not both and not neither")
        return self

    def read(self, found: re.Match[str]) -> float | None:
        """Value in a matched line, or None when the line does not give one."""
        if self.group is None:
            return self.constant
        text = found[self.group]
        if self.words:
            return self.words.get(text)
        value = _number(text)
        return None if value is None else value * self.scale


class LinePattern(BaseModel):
    """A line that carries values, as a regular expression that must fit the whole line."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    name: str = Field(min_length=1, max_length=40, description="what you call it; shown in messages")
    regex: str = Field(
        min_length=1,
        max_length=LONGEST_PATTERN,
        description="must fit the whole line; a group named 'input' holds the controller's number of the feed path",
    )
    input: int | None = Field(
        default=None, ge=1, description="our number of the input, where the line does not name one"
    )
    first_input: int = Field(
        default=0, ge=0, description="the number by which the controller calls input 1 (usually 0)"
    )
    sensor: str | None = Field(default=None, description="our sensor name, for temp_c, set_c and duty")
    channels: dict[PatternKind, PatternValue] = Field(min_length=1, description="channel kind -> where its value is")
    clears_after_s: float | None = Field(
        default=None, gt=0, description="a stall that a line reports once is taken as over after this time [s]"
    )

    @field_validator("regex")
    @classmethod
    def _is_affordable(cls, regex: str) -> str:
        try:
            re.compile(regex, re.ASCII)
        except re.error as error:
            raise ValueError(f"is no regular expression: {error}") from error
        fault = _cost_fault(regex)
        if fault is not None:
            raise ValueError(fault)
        return regex

    @model_validator(mode="after")
    def _groups_exist(self) -> Self:
        groups = self.compiled.groupindex
        for kind, value in self.channels.items():
            if value.group is not None and value.group not in groups:
                raise ValueError(f"channel {kind}: the regex has no group named {value.group!r}; it has {[*groups]}")
        kinds = set(self.channels)
        if kinds & INPUT_KINDS and self.input is None and "input" not in groups:
            raise ValueError("needs a group named 'input' in the regex, or the key 'input'")
        if kinds - INPUT_KINDS and self.sensor is None:
            raise ValueError("temp_c, set_c and duty need the key 'sensor'")
        return self

    @cached_property
    def compiled(self) -> re.Pattern[str]:
        """The regular expression, ready for use."""
        return re.compile(self.regex, re.ASCII)

    def read(self, text: str) -> Mapping[tuple[PatternKind, str | int], float] | None:
        """(Kind, sensor or input) -> value in a line; None when the line does not fit.

        Values that cannot be read are left out.
        """
        found = self.compiled.fullmatch(text) if len(text) <= LONGEST_MATCHED_LINE else None
        if found is None:
            return None
        values: dict[tuple[PatternKind, str | int], float] = {}
        for kind, source in self.channels.items():
            value = source.read(found)
            owner = self._input_of(found) if kind in INPUT_KINDS else self.sensor
            if value is not None and owner is not None:
                values[kind, owner] = value
        return values

    def _input_of(self, found: re.Match[str]) -> int | None:
        if self.input is not None:
            return self.input
        number = _number(found["input"])
        if number is None or not number.is_integer():
            return None
        ours = int(number) - self.first_input + 1
        return ours if ours >= 1 else None


def _cost_fault(regex: str) -> str | None:
    """Why a pattern might take for ever on some line; None when it cannot."""
    if _BACK_REFERENCE.search(regex):
        return "refers back to an earlier group; write the text out instead"
    plain = _CLASS.sub("c", _ESCAPED.sub("e", regex))
    if _REPEATED_GROUP.search(plain):
        return "repeats a group with * + or {…}, which can take for ever on an unlucky line; repeat one character class"
    if len(_OPEN_REPEAT.findall(regex)) > MOST_OPEN_REPEATS:
        return f"has more than {MOST_OPEN_REPEATS} open repeats such as .* or [^,]*; name the expected text instead"
    return None


def _number(text: str | None) -> float | None:
    """Finite number in `text`, or None."""
    if text is None:
        return None
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None
