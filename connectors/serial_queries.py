"""The only bytes that are ever sent to a serial controller, and when.

Owns the allow-list and the pace. Each entry asks for a report and changes nothing; no text from anywhere else can
become a query. Knows nothing of how bytes are written.
"""

from enum import Enum
from typing import Final

from connectors.serial_settings import SerialSettings

LEAST_SPACING_S: Final = 0.5
ANSWER_WITHIN_S: Final = 5.0
LONGEST_WAIT_S: Final = 60.0
LATE_S: Final = 2.0
"""An answer later than this [s], with no sign of being busy, shows that the query waits for moves."""
POSITION_LATER_S: Final = 0.2
"""A position answered later than a temperature by more than this [s] shows that it waits for moves."""
LATE_POSITIONS: Final = 2
BUSY_CALM_S: Final = 5.0
ERROR_CALM_S: Final = 10.0
PROGRESS_EVERY: Final = 5
"""Progress is asked for this many times less often than temperatures."""


class Query(bytes, Enum):
    """Every query there is. Each asks for a report of the controller and changes nothing in it."""

    TEMPERATURES = b"M105\n"
    PROGRESS = b"M27\n"
    POSITION = b"M114\n"


class Asker:
    """Decides which query may go out now: one at a time, paced, none while the controller is busy or upset."""

    def __init__(self, settings: SerialSettings) -> None:
        every_s = {Query.TEMPERATURES: settings.poll_interval_s}
        if settings.position_query_is_safe:
            every_s[Query.POSITION] = settings.poll_interval_s
        if settings.ask_progress:
            every_s[Query.PROGRESS] = settings.poll_interval_s * PROGRESS_EVERY
        self._every_s = every_s if settings.mode == "ask" else {}
        self._due_s = dict.fromkeys(self._every_s, 0.0)
        self._patience_s = dict.fromkeys(self._every_s, ANSWER_WITHIN_S)
        self._sent_s: dict[Query, float] = {}
        self._outstanding: Query | None = None
        self._last_sent_s = float("-inf")
        self._hold_until_s = float("-inf")
        self._took_s = 0.0
        self._late_positions = 0

    def next_query(self, time_s: float) -> Query | None:
        """The query to send at `time_s` [s], or None. It is taken as sent."""
        self._give_up(time_s)
        is_too_early = time_s < max(self._hold_until_s, self._last_sent_s + LEAST_SPACING_S)
        if self._outstanding is not None or is_too_early or not self._every_s:
            return None
        query = min(self._every_s, key=lambda each: self._due_s[each])
        if self._due_s[query] > time_s:
            return None
        self._due_s[query] = time_s + self._every_s[query]
        self._outstanding, self._last_sent_s, self._sent_s[query] = query, time_s, time_s
        return query

    def answered(self, query: Query, time_s: float) -> str | None:
        """A reply of the kind that `query` asks for arrived. Returns why asking ends, when it does."""
        if self._outstanding is query:
            self._outstanding = None
        self._patience_s[query] = ANSWER_WITHIN_S
        sent_s = self._sent_s.pop(query, None)
        if sent_s is None or query not in self._every_s:
            return None
        return self._judge(query, time_s - sent_s)

    def hold(self, time_s: float, calm_s: float) -> None:
        """The controller is busy or upset: ask nothing for `calm_s` seconds, and blame no late answer on the query."""
        self._hold_until_s = max(self._hold_until_s, time_s + calm_s)
        self._sent_s.clear()

    def refused(self, text: str) -> str | None:
        """The controller does not know a command. Returns which query is given up for that, when it is one of ours."""
        for query in list(self._every_s):
            code = query.value.decode().strip()
            if code in text.replace('"', " ").split():
                self._drop(query)
                return f"the controller does not know {code}; it is not asked again"
        return None

    def restart(self) -> None:
        """The controller restarted or the port was reopened: no answer is awaited any more."""
        self._outstanding = None
        self._sent_s.clear()

    def _give_up(self, time_s: float) -> None:
        """Stop waiting for an answer that is overdue; ask the same again only after a doubled pause."""
        query = self._outstanding
        since_s = max(self._last_sent_s, self._hold_until_s)
        if query is None or time_s - since_s < ANSWER_WITHIN_S:
            return
        self._outstanding = None
        self._due_s[query] = time_s + self._patience_s[query]
        self._patience_s[query] = min(2 * self._patience_s[query], LONGEST_WAIT_S)

    def _judge(self, query: Query, took_s: float) -> str | None:
        if took_s > LATE_S:
            self._every_s = {}
            return (
                f"a query was answered only after {took_s:.1f} s: it may wait for the machine's moves and "
                "disturb them; from now on this watch only listens"
            )
        if query is Query.TEMPERATURES:
            self._took_s = took_s
        if query is Query.POSITION:
            is_late = took_s > self._took_s + POSITION_LATER_S
            self._late_positions = self._late_positions + 1 if is_late else 0
            if self._late_positions >= LATE_POSITIONS:
                self._drop(query)
                return (
                    f"the position was answered {took_s - self._took_s:.1f} s later than temperatures: asking may "
                    "disturb the moves, so it is not asked again; set position_query_is_safe = false"
                )
        return None

    def _drop(self, query: Query) -> None:
        self._every_s = {each: every_s for each, every_s in self._every_s.items() if each is not query}
        self._sent_s.pop(query, None)
        if self._outstanding is query:
            self._outstanding = None
