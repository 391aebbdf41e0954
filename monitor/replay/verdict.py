"""What a replay shows about its recording: whether the conclusions are the same, and what of the file is damaged."""

from collections.abc import Iterator

from connectors.recording import Recording
from monitor.replay.comparison import AlertMark, comparison_lines, recorded_mark, replayed_mark
from monitor.replay.source import ReplaySource
from monitor.session import Session
from monitor.step import Step


class ReplayVerdict:
    """Looks on at a replay.

    Parameters
    ----------
    session : Session
        Plays the recording.
    source : ReplaySource
        Collects what was concluded then.
    recording : Recording
        The file.
    """

    def __init__(self, session: Session, source: ReplaySource, recording: Recording) -> None:
        self._session, self._source, self._recording = session, source, recording
        self._replayed: list[AlertMark] = []
        session.observe(self._take)

    def lines(self) -> Iterator[str]:
        """Tell it all, once the replay has ended."""
        recording = self._recording
        if recording.torn:
            yield "note: the recording's last line is incomplete: the watch was cut off then; all before it counts"
        if recording.skipped:
            yield f"note: lines of the recording that could not be read: {recording.skipped}; they were left out"
        if self._source.has_gaps:
            yield "note: part of the watch could not be recorded then, so the conclusions may differ"
        if self._source.is_over:
            cut_off_s = None if self._source.is_complete else self._session.time_s
            yield from comparison_lines(list(map(recorded_mark, self._source.alerts)), self._replayed, cut_off_s)

    def _take(self, step: Step) -> None:
        self._replayed += map(replayed_mark, step.transitions)
