"""What is asked at the foot of the screen before an alert is shelved or taken out of service: for how long, and why.

Pure. Answers are digits, so that nothing has to be typed at night; any other key leaves the alert as it is.
"""

from dataclasses import dataclass, replace
from typing import Final

from monitor.core.alert_types import RequestKind

_TIMES: Final = {"1": ("30 min", 1800.0), "2": ("2 h", 7200.0), "3": ("8 h", 28_800.0)}
_REASONS: Final = {"1": "being dealt with", "2": "can wait till morning", "3": "reading is wrong"}


@dataclass(frozen=True, slots=True)
class Question:
    """A request that lacks something yet."""

    kind: RequestKind
    alert_id: str
    for_s: float | None = None
    reason: str = ""

    @property
    def text(self) -> str:
        """What to ask next."""
        if self._lacks_time:
            return f" shelve it for {_choices({key: words for key, (words, _) in _TIMES.items()})} "
        return f" {_choices(_REASONS)} "

    @property
    def is_answered(self) -> bool:
        """Whether nothing is lacking any more."""
        return bool(self.reason) and not self._lacks_time

    def answered(self, key: str) -> "Question | None":
        """The question after a key; None when the key means that the owner gives up."""
        if self._lacks_time:
            return replace(self, for_s=_TIMES[key][1]) if key in _TIMES else None
        return replace(self, reason=_REASONS[key]) if key in _REASONS else None

    @property
    def _lacks_time(self) -> bool:
        return self.kind is RequestKind.SHELVE and self.for_s is None


def _choices(choices: dict[str, str]) -> str:
    return "  ".join([*(f"{key}: {words}" for key, words in choices.items()), "Esc: no"])
