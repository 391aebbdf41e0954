"""The status of a machine, put together from its messages by the rules of the profile.

Owns the one document and what each message does to it. Pure; knows nothing of channels or time.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from connectors.json_patch import PatchError, apply_pairs, apply_patch, same_json, set_at
from connectors.json_pointer import Json, NotThereError, Tokens, find, parse_pointer
from connectors.merge_patch import merge_patch
from connectors.message_order import MessageOrder
from connectors.strict_json import is_bounded
from connectors.websocket_messages import MessageRule

_SECONDS: Final = {"s": 1.0, "ms": 0.001}


class StatusLostError(Exception):
    """The status is no longer known for sure; the text says why. Only a new full status helps.

    `has_restarted` when the machine began anew, so that its counters did too.
    """

    def __init__(self, reason: str, *, has_restarted: bool = False) -> None:
        super().__init__(reason)
        self.has_restarted = has_restarted


class NotUsableError(Exception):
    """A message fits no rule, or not the one it fits; nothing was taken from it. The text says why."""


@dataclass(frozen=True, slots=True)
class Effect:
    """What a message did: `changed` the status (a `full` one anew), told a restart, or was only a sign of life."""

    changed: bool = False
    full: bool = False
    restarted: str | None = None


class StatusDocument:
    """The status as far as it is known.

    Parameters
    ----------
    rules : sequence of MessageRule
        The first that fits a message decides. When none is "full", the status begins empty and grows by parts.
    clock_unit : str
        Unit of the machine's own clock, "s" or "ms".
    """

    def __init__(self, rules: Sequence[MessageRule], clock_unit: str) -> None:
        self._rules = rules
        self._clock_scale = _SECONDS[clock_unit]
        self._order = MessageOrder()
        self.grows_by_parts = all(rule.means != "full" for rule in rules)
        self.takes_parts = any(rule.means == "partial" for rule in rules)
        self.document: Json = None
        self.is_known = False

    def connect_anew(self) -> None:
        """Forget the status: nothing survives a connection."""
        self._order.connect_anew()
        self.document = {} if self.grows_by_parts else None
        self.is_known = self.grows_by_parts

    def parts_of(self, message: Json) -> Iterator[Json]:
        """The messages in a message: a batch (JSON-RPC 2.0 section 6) is an array that no rule fits as a whole."""
        if isinstance(message, list) and message and self._rule_for(message) is None:
            yield from message
        else:
            yield message

    def ignores(self, text: str) -> bool:
        """Tell whether a message is a plain text that the profile says to ignore."""
        return any(rule.text == text for rule in self._rules if rule.text is not None)

    def take(self, message: Json) -> Effect:
        """Apply one message; raises NotUsableError or StatusLostError."""
        rule = self._rule_for(message)
        if rule is None:
            raise NotUsableError("fits no message rule")
        if rule.means == "ignore":
            return Effect()
        if rule.means == "refused":
            raise StatusLostError(f"the machine turned down what was sent on connect: {self._told(message, rule)}")
        if rule.means == "partial" and not self.is_known:
            return Effect()  # the full status it belongs to is still to come
        return self._take_status(message, rule)

    def _take_status(self, message: Json, rule: MessageRule) -> Effect:
        is_full = rule.means == "full"
        verdict = self._order.judge(self._number(message, rule), self._clock_s(message, rule), is_full=is_full)
        if verdict.action == "lost":
            self.is_known = False
            raise StatusLostError(verdict.reason, has_restarted=verdict.restarted is not None)
        if verdict.action == "drop":
            return Effect()
        self._put(self._content(message, rule), rule)
        return Effect(changed=True, full=is_full or self.grows_by_parts, restarted=verdict.restarted)

    def _put(self, content: Json, rule: MessageRule) -> None:
        if rule.means == "full":
            self.document, self.is_known = content, True
            return
        try:
            changed = self._changed(content, rule)
        except (PatchError, NotThereError) as error:
            self.is_known = False
            raise StatusLostError(f"a change does not fit the status: {error}") from None
        if not is_bounded(changed):
            self.is_known = False
            raise StatusLostError("the status grew beyond all measure")
        self.document = changed

    def _changed(self, content: Json, rule: MessageRule) -> Json:
        place = parse_pointer(rule.into)
        before = self._part(place)
        match rule.change:
            case "merge_patch":
                after = merge_patch(before, content, rule.null, rule.arrays)
            case "json_patch":
                after = apply_patch(before, content)
            case "pairs":
                after = apply_pairs(before, content)
            case "replace":
                after = content
        return set_at(self._with_room(place), place, after)

    def _with_room(self, place: Tokens) -> Json:
        """The status with objects on the way to a part that was not heard of yet."""
        document = self.document
        for depth in range(1, len(place)):
            if _at_tokens(document, place[:depth]) is None:
                document = set_at(document, place[:depth], {})
        return document

    def _part(self, place: Tokens) -> Json:
        part = _at_tokens(self.document, place)
        return {} if part is None else part

    def _rule_for(self, message: Json) -> MessageRule | None:
        return next((rule for rule in self._rules if _fits(message, rule)), None)

    def _content(self, message: Json, rule: MessageRule) -> Json:
        try:
            return find(message, parse_pointer(rule.at))
        except NotThereError as missing:
            if rule.means == "partial":
                self.is_known = False
                raise StatusLostError(f"a change could not be read: {missing}") from None
            raise NotUsableError(f"a full status without its content: {missing}") from None

    def _number(self, message: Json, rule: MessageRule) -> int | None:
        """Number of a message; a full status may come without, a change may not."""
        if rule.sequence is None:
            return None
        number = _at(message, rule.sequence)
        if isinstance(number, int | float) and not isinstance(number, bool) and number == number // 1:
            return int(number)
        if rule.means == "full":
            return None
        self.is_known = False
        raise StatusLostError(f"a change without its number at {rule.sequence}")

    def _clock_s(self, message: Json, rule: MessageRule) -> float | None:
        """The machine's own clock [s]; None when it told none that could be read."""
        clock = None if rule.sender_time is None else _at(message, rule.sender_time)
        if not isinstance(clock, int | float) or isinstance(clock, bool):
            return None
        return clock * self._clock_scale if math.isfinite(clock) and abs(clock) < 2**53 else None

    def _told(self, message: Json, rule: MessageRule) -> str:
        return str(_at(message, rule.at))[:200]


def _fits(message: Json, rule: MessageRule) -> bool:
    if rule.text is not None:
        return False
    if rule.when is None:
        return True
    try:
        found = find(message, parse_pointer(rule.when))
    except NotThereError:
        return False
    return "equals" not in rule.model_fields_set or same_json(found, rule.equals)


def _at(message: Json, pointer: str) -> Json:
    return _at_tokens(message, parse_pointer(pointer))


def _at_tokens(document: Json, place: Tokens) -> Json:
    """Value at a place; None where there is nothing or null."""
    try:
        return find(document, place)
    except NotThereError:
        return None
