"""Writes what an import understood as an ordinary recording, judged like a watch. Owns the file until it is whole."""

import asyncio
from collections.abc import AsyncIterator, Iterable
from contextlib import suppress
from datetime import datetime, timedelta
from pathlib import Path

from connectors.recording import Header
from connectors.telemetry import Event
from monitor.config import Profile
from monitor.core.engine import Engine
from monitor.exit_codes import WrongUseError
from monitor.recording.recorder import Recorder
from monitor.session import Session
from monitor.totals import Totals
from monitor.version import version


class _Told:
    """Events as the source of a session."""

    def __init__(self, events: Iterable[Event]) -> None:
        self._events = events

    async def events(self) -> AsyncIterator[Event]:
        """Yield them all."""
        for event in self._events:
            yield event


def write_recording(events: Iterable[Event], profile: Profile, source: str, start: datetime, out: Path) -> Totals:
    """Judge `events` and record both; the file is gone again unless all of it could be written.

    Raises
    ------
    RecordingError
        When there is such a file already, or none can be made.
    WrongUseError
        When it could not be written to its end.
    """
    header = Header(
        start=start,
        program=version(),
        machine=profile.parameters.machine,
        source=source,
        profile=dict(profile.table),
        materials=dict(profile.material_tables),
        stand_ins=tuple({**loan._asdict(), "values": dict(loan.values)} for loan in profile.loans),
    )
    session = Session(_Told(events), Engine(profile.parameters), name=source, over="the imported file ended")
    totals = Totals(profile.parameters.limits.stale_after_s)
    session.observe(totals.take)
    recorder = Recorder(
        out, header, clock=lambda: session.time_s, wall=lambda: start + timedelta(seconds=session.time_s)
    )
    session.record_with(recorder)
    try:
        asyncio.run(session.run())
        _check_whole(recorder, session)
    except BaseException:
        with suppress(OSError):
            recorder.path.unlink()
        raise
    return totals


def _check_whole(recorder: Recorder, session: Session) -> None:
    for failure in (recorder.failure, session.fault):
        if failure is not None:
            raise WrongUseError(f"the import was given up: {failure}")
