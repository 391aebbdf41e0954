"""A sign of life to somebody outside, who calls the owner when it stays away: an address that is asked now and then.

It proves work, not mere life: only while fresh samples pass through the rules is there anything to check in with. The
address is a secret: it is shown, logged and recorded nowhere.
"""

import urllib.request
from collections.abc import Callable
from http.client import HTTPException
from typing import Final
from urllib.error import HTTPError

from connectors.telemetry import Sample
from monitor.core.alert_types import Priority
from monitor.core.engine_input import EngineInput
from monitor.notify.attempt import NO_ANSWER, TIMEOUT_S, Channel, Letter, Outcome, begin
from monitor.step import Step

EVERY_MIN: Final = 5.0
RETRY_S: Final = 60.0
SOCKET_TIMEOUT_S: Final = 10.0
MOST_UNDER_WAY: Final = 4

_NOTHING_TO_SAY: Final = Letter("", "", Priority.CAUTION)


def fetcher(address: str) -> Callable[[Letter], Outcome]:
    """Make what asks for an address, by GET, and says, without naming it, why it could not; it blocks."""

    def fetch(_letter: Letter) -> Outcome:
        request = urllib.request.Request(address, headers={"User-Agent": "strandwatch"})  # noqa: S310 -- the file's check lets http and https pass alone
        try:
            with urllib.request.urlopen(request, timeout=SOCKET_TIMEOUT_S):  # noqa: S310 -- as above
                return None
        except HTTPError as error:
            error.close()
            return f"refused with status {error.code}"
        except (OSError, HTTPException):
            return "it could not be reached, or gave no answer"

    return fetch


class CheckIn:
    """Checks in while fresh samples pass. An onlooker of the session; never blocks.

    Parameters
    ----------
    fetch : callable
        Asks for the address (`fetcher`); it runs in a thread of its own.
    every_s : float
        Time between two signs of life [s].
    """

    def __init__(self, fetch: Callable[[Letter], Outcome], every_s: float = EVERY_MIN * 60.0) -> None:
        self._way = Channel("check-in", Priority.CAUTION, fetch)
        self.every_s = every_s
        self._due_s: float | None = None
        self._began_s: list[float] = []
        self._failure: Outcome = None

    @property
    def notice(self) -> str:
        """What the owner should see; empty while all is well."""
        return "" if self._failure is None else f"the check-in fails: {self._failure}; it is tried again"

    def take(self, step: Step) -> None:
        """Check in if it is time, and this step brought a temperature: without one nothing is known of strands."""
        time_s = step.event.time_s
        if self._began_s and time_s - self._began_s[0] > TIMEOUT_S:
            self._failure = NO_ANSWER
        if not _tells_heat(step.event) or (self._due_s is not None and time_s < self._due_s):
            return
        self._due_s = time_s + (self.every_s if self._failure is None else min(RETRY_S, self.every_s))
        if len(self._began_s) < MOST_UNDER_WAY:
            self._began_s.append(time_s)
            begin(self._way, _NOTHING_TO_SAY).add_done_callback(lambda done: self._answered(time_s, done.result()))

    def _answered(self, began_s: float, outcome: Outcome) -> None:
        self._began_s.remove(began_s)
        self._failure = outcome
        if outcome is not None and self._due_s is not None:
            self._due_s = min(self._due_s, began_s + min(RETRY_S, self.every_s))


def _tells_heat(event: EngineInput) -> bool:
    return isinstance(event, Sample) and any(name.startswith("temp_c:") for name in event.values)
