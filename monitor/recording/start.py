"""Begins the recording of a session, or goes on with one: what its header says, and where it goes."""

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

from connectors.recording import Header
from monitor.config import Profile
from monitor.recording.recorder import Recorder, Seam
from monitor.resume.seam import Resumption
from monitor.session import Session
from monitor.version import version


def start_recording(session: Session, profile: Profile, where: Path | None) -> Path:
    """Record `session` into `where` (a new file, a directory, or None for the default one); return the file's path.

    To be called at the session's time 0: that is what the header's start stands for.

    Raises
    ------
    RecordingError
        When no recording can be written there.
    """
    header = Header(
        start=datetime.now().astimezone(),
        program=version(),
        machine=profile.parameters.machine,
        source=session.source,
        profile=_plain(profile.table),
        materials=_plain(profile.material_tables),
        stand_ins=tuple({**loan._asdict(), "values": dict(loan.values)} for loan in profile.loans),
    )
    recorder = Recorder(where, header, clock=lambda: session.time_s)
    session.record_with(recorder)
    return recorder.path


def go_on_recording(session: Session, resumed: Resumption) -> Path:
    """Have `session` go on with a recording that was taken up, in its own file; return its path."""
    session.take_up(resumed.time_s, resumed.standing(), resumed.notice)
    taken = resumed.taken
    seam = Seam(taken.path, taken.descriptor, resumed.seam_lines(datetime.now().astimezone()))
    session.record_with(Recorder(None, taken.header, seam=seam, clock=lambda: session.time_s))
    return taken.path


def _plain(table: Mapping[str, object]) -> dict[str, object]:
    return dict(table)
