"""A watch: owns the link, the engine and the recorder, and lets screens and printers look on.

Every event reaches the recorder, then the engine; then its conclusions are recorded; then the onlookers see the step.
Nothing is dropped on the way. Knows nothing of screens, terminals, files or signals.
"""

import asyncio
from collections.abc import Callable, Iterable, Mapping
from traceback import format_exception
from typing import Any, Final

from connectors.clean_text import clean_text
from connectors.errors import LinkFailedError
from connectors.telemetry import Tick
from monitor.core.alert_types import Request, RequestKind
from monitor.core.assessment import Assessment
from monitor.core.engine_input import EngineInput
from monitor.core.next_use import NextUses
from monitor.every import Every
from monitor.history.keeping import EVERY_S, Keeper
from monitor.history.memory import History
from monitor.plain_data import assessment_data, flow_slip_data, transition_data
from monitor.recording.inputs import recorded_input
from monitor.session_parts import Judge, Notifying, Recording, Serving, Source
from monitor.step import Step
from monitor.unreported import SensorRoll

ASSESSMENT_EVERY_S: Final = 60.0
SLIP_EVERY_S: Final = 1800.0
"""Spacing of the summaries in a recording [s of machine time]; slip is told at the end as well."""

RESUMED_SHOWN_S: Final = 300.0
"""How long it is shown that a watch goes on with an earlier one [s of machine time]."""

_LONGEST_TRACE: Final = 4000

OWNER: Final = "owner"
"""Who asks from a screen."""


Onlooker = Callable[[Step], None]


class Session:
    """One watch from its first event to its end. It is the `WatchClient` that a screen holds.

    Parameters
    ----------
    source : Source
        Yields the events; closed when the watch ends.
    engine : Judge
        Judges them.
    name : str
        Where the data come from, in words.
    sensors : Iterable[str]
        Sensors that the profile names.
    inputs : Iterable[int]
        Inputs with a strand, whose feed the machine should report.
    over : str
        Why the watch is over when the source has no more events.
    """

    def __init__(
        self,
        source: Source,
        engine: Judge,
        *,
        name: str,
        sensors: Iterable[str] = (),
        inputs: Iterable[int] = (),
        over: str = "the link ended",
    ) -> None:
        self.source = name
        self.ended: str | None = None
        self.time_s = 0.0
        """Machine time of the newest event [s]; serves as the recorder's clock."""
        self._events, self._engine, self._over = source, engine, over
        self._roll = SensorRoll(sensors, inputs)
        self._recorder: Recording | None = None
        self._notifier: Notifying | None = None
        self._server: Serving | None = None
        self._due = Every(ASSESSMENT_EVERY_S)
        self._slip_due = Every(SLIP_EVERY_S)
        self._onlookers: list[Onlooker] = []
        self._only_news: list[Onlooker] = []  # onlookers that need not be shown what stands
        self.history = History()
        """What the values were so far; empty where nobody asked to keep it."""
        self._has_heard = False
        self._standing: Step | None = None
        self._resumed, self._resumed_until_s = "", 0.0
        self.is_discarded = False
        """Whether the recording was removed, because the link never opened and nothing came that could be recorded."""
        self.fault: str | None = None
        """What of strandwatch itself failed and was left out, in words; None while all is well."""
        self._newest: Step | None = None
        self._task: asyncio.Task[Any] | None = None
        self._stop_reason: str | None = None

    def record_with(self, recorder: Recording) -> None:
        """Record from now on; the session closes the recorder when it ends."""
        self._recorder = recorder

    def take_up(self, time_s: float, standing: Step | None, notice: str) -> None:
        """Go on at `time_s` [s] with a watch that ended.

        `standing` is shown once to all who look on but the history, which knows it, and the notifier, which tells by
        itself what stands when it begins; `notice` is for the owner.
        """
        self.time_s, self._standing = time_s, standing
        self._resumed, self._resumed_until_s = notice, time_s + RESUMED_SHOWN_S
        self._has_heard = True  # the recording holds something, whatever becomes of the link

    def observe(self, onlooker: Onlooker) -> None:
        """Show every step to `onlooker`.

        Should it raise, it sees no more, that is told, and the watch goes on. Only a reader gone ends the watch.
        """
        self._onlookers.append(onlooker)

    def notify_with(self, notifier: Notifying) -> None:
        """Have `notifier` look on; the session closes it when it ends, after the link and before the recorder."""
        self._notifier = notifier
        self._only_news.append(notifier.take)
        self.observe(notifier.take)

    def keep_history(self, every_s: float = EVERY_S, past: History | None = None) -> None:
        """Remember what the values were, every `every_s` [s of machine time], from now on and after `past`.

        Each moment costs an assessment: worth it where somebody may look, as long as the watch is not in a hurry.
        """
        self.history = History() if past is None else past
        keeper = Keeper(self.history, every_s)
        self._only_news.append(keeper.take)
        self.observe(keeper.take)

    def serve_with(self, server: Serving) -> None:
        """Let screens attach through `server`; the session opens it when it runs and closes it when it ends."""
        self._server = server

    def take_fault(self, what: str, error: Exception) -> None:
        """Tell, and record, that a part of strandwatch that only looks on failed; the watch goes on without it."""
        self.fault = f"{what} failed and is left out ({clean_text(repr(error))}); the watch goes on. Please report this"
        if self._recorder is not None and self.ended is None:
            trace = "".join(format_exception(error))[-_LONGEST_TRACE:]
            self._recorder.record_conclusion("fault", self.time_s, {"text": self.fault, "trace": trace})

    def record_note(self, kind: str, data: Mapping[str, Any]) -> None:
        """Record what became of something beside the engine, at the newest event's time."""
        if self._recorder is not None:
            self._recorder.record_conclusion(kind, self.time_s, data)

    @property
    def latest(self) -> Assessment | None:
        """The newest assessment; None before the first event."""
        return None if self._newest is None else self._newest.assessment

    @property
    def notice(self) -> str:
        """What the owner should see about the watch itself; empty when there is nothing."""
        failure = None if self._recorder is None else self._recorder.failure
        unsent = "" if self._notifier is None else self._notifier.notice
        unserved = "" if self._server is None else self._server.notice
        resumed = self._resumed if self.time_s < self._resumed_until_s else ""
        return "; ".join(filter(None, (failure, self.fault, unsent, unserved, self._roll.notice, resumed)))

    @property
    def missing_sensors(self) -> str:
        """What the machine has not reported so far, in words; empty when nothing is missing."""
        return self._roll.missing_text()

    def ask(
        self, kind: RequestKind, alert_id: str, *, reason: str = "", for_s: float = 0.0, actor: str = OWNER
    ) -> None:
        """Pass on what `actor` asks of an alert; ValueError where a reason or a time is missing."""
        if self.ended is None:
            self._take(Request(self.time_s, kind, alert_id, actor, clean_text(reason), for_s))

    def stop(self, reason: str) -> None:
        """End the watch soon; of several reasons the first counts."""
        if self.ended is None and self._stop_reason is None:
            self._stop_reason = reason
            if self._task is not None:
                self._task.cancel()

    async def run(self) -> None:
        """Watch until the source is exhausted or fails for good, or until `stop`.

        Raises
        ------
        LinkFailedError
            When the link failed for good. Link and recorder are closed by then, as in every case.
        """
        self._task = asyncio.current_task()
        reason = "strandwatch itself failed"
        try:
            if self._stop_reason is None:
                if self._server is not None:
                    await self._server.open()
                await self._watch()
            reason = self._stop_reason or self._over
        except asyncio.CancelledError:
            reason = self._stop_reason or "the watch was cancelled"
            if self._stop_reason is None or (self._task is not None and self._task.uncancel()):
                raise
        except LinkFailedError as error:
            reason = str(error)
            self.is_discarded = self._recorder is not None and not self._has_heard
            raise
        except BrokenPipeError:
            reason = "the output went away"
            raise
        finally:
            self.ended = reason
            await self._close(reason)

    async def _close(self, reason: str) -> None:
        """Close the recorder last: it takes what became of the last messages."""
        try:
            if self._notifier is not None:
                await self._notifier.close(reason)
        finally:
            try:
                if self._server is not None:
                    await self._server.close(reason)
            finally:
                self._close_recorder(reason)

    def _close_recorder(self, reason: str) -> None:
        if self._recorder is None:
            return
        if self.is_discarded:
            self._recorder.discard()
            return
        if self._newest is not None:
            self._record_slip(self._newest)
        self._recorder.close(reason)

    async def _watch(self) -> None:
        self._show_standing()
        events = self._events.events()
        try:
            async for event in events:
                self._take(event)
        finally:
            close = getattr(events, "aclose", None)
            if close is not None:
                await close()

    def _show_standing(self) -> None:
        if self._standing is None:
            return
        for look in tuple(self._onlookers):
            if look not in self._only_news:
                self._show(look, self._standing)

    def _take(self, event: EngineInput) -> None:
        self.time_s = max(self.time_s, event.time_s)
        self._record_input(event)
        step = self._engine.advance(event)
        self._newest = step
        self._record_conclusions(step)
        for look in tuple(self._onlookers):
            self._show(look, step)

    def _show(self, look: Onlooker, step: Step) -> None:
        try:
            look(step)
        except BrokenPipeError:
            raise
        except Exception as error:  # noqa: BLE001 -- whatever fails of looking on must not end the watch of a night
            self._onlookers.remove(look)
            self.take_fault(f"a part that looks on ({getattr(look, '__qualname__', 'unnamed')})", error)

    def _record_input(self, event: EngineInput) -> None:
        self._has_heard = self._has_heard or not isinstance(event, Tick)
        if not isinstance(event, Request | NextUses):
            self._roll.take(event)
        if self._recorder is None:
            return
        if isinstance(event, Request | NextUses):
            kind, data = recorded_input(event)
            self._recorder.record_conclusion(kind, event.time_s, data)
        else:
            self._recorder.record_event(event)

    def _record_conclusions(self, step: Step) -> None:
        if self._recorder is None:
            return
        for transition in step.transitions:
            self._recorder.record_conclusion("alert", transition.time_s, transition_data(transition))
        if self._due(self.time_s):
            self._recorder.record_conclusion("assessment", self.time_s, assessment_data(step.assessment))
        if self._slip_due(self.time_s):
            self._record_slip(step)

    def _record_slip(self, step: Step) -> None:
        data = flow_slip_data(step.assessment)
        if self._recorder is not None and data["inputs"]:
            self._recorder.record_conclusion("flow_slip", self.time_s, data)
