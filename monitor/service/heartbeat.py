"""The sign of work for a service manager: given only when a fresh sample has passed through the rules.

An onlooker of the session. A watch that hangs, whose rules fail, or that hears nothing of its machine gives no sign, so
that the manager begins it anew. Ticks prove only that the process lives, so they keep the words of the state up to date
and nothing else.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from math import isfinite
from typing import Final, Protocol

from connectors.telemetry import Sample
from monitor.clock_text import span_text
from monitor.core.assessment import Assessment
from monitor.notify.message import alert_name
from monitor.step import Step

EVERY_S: Final = 15.0
"""Spacing of the signs [s]; less where the manager wants them more often."""

_OF_THE_WATCHDOG: Final = 4.0
"""So often within the manager's time: it wants a sign every half (sd_watchdog_enabled(3)), and samples may be late."""


class Listener(Protocol):
    """A service manager (`monitor.service.service_manager.ServiceManager`)."""

    watchdog_s: float | None

    def tell(self, **values: str | int) -> None:
        """Take values."""
        ...


class Heartbeat:
    """Gives signs of work, and the state in words.

    Parameters
    ----------
    manager : Listener
        Who is told.
    """

    def __init__(self, manager: Listener) -> None:
        self._manager = manager
        wanted_s = manager.watchdog_s
        self._every_s = EVERY_S if wanted_s is None else min(EVERY_S, wanted_s / _OF_THE_WATCHDOG)
        self._signed_s: float | None = None
        self._told_s: float | None = None

    @contextmanager
    def beating(self) -> Iterator[None]:
        """Tell that the watch is ready, and at the end that it stops."""
        self._manager.tell(READY=1, STATUS="waiting for the machine")
        try:
            yield
        finally:
            self._manager.tell(STOPPING=1, STATUS="the watch has ended")

    def take(self, step: Step) -> None:
        """Look at a step: after a sample's, give the sign; after any other tell only how things stand."""
        time_s = step.event.time_s
        if isinstance(step.event, Sample) and self._is_due(self._signed_s, time_s):
            status = status_text(step.assessment)  # before the sign: what the rules concluded can be told
            self._signed_s = self._told_s = time_s
            self._manager.tell(WATCHDOG=1, STATUS=status)
        elif self._is_due(self._told_s, time_s):
            self._told_s = time_s
            self._manager.tell(STATUS=status_text(step.assessment))

    def _is_due(self, last_s: float | None, time_s: float) -> bool:
        return last_s is None or time_s - last_s >= self._every_s


def status_text(assessment: Assessment) -> str:
    """Age of the newest sample and the most urgent alert, in one line."""
    return f"{_age_text(assessment)}; {_alert_text(assessment)}"


def _age_text(assessment: Assessment) -> str:
    age_s = assessment.sample_age_s
    return f"newest sample {span_text(age_s)} old, {assessment.quality}" if isfinite(age_s) else "no sample yet"


def _alert_text(assessment: Assessment) -> str:
    shown = [alert for alert in assessment.alerts if not alert.folded_under]
    if not shown:
        return "no alert"
    worst = max(shown, key=lambda alert: alert.priority)
    return f"{alert_name(worst)} ({worst.state})"
