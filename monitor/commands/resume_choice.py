"""Which recording a watch goes on with, as its options say: none, a named one, or the newest of this machine."""

import argparse
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from connectors.clean_text import clean_text
from monitor.clock_text import span_text
from monitor.commands.resume_options import NEWEST
from monitor.config import Profile
from monitor.exit_codes import WrongUseError
from monitor.output import Output
from monitor.recording.place import default_directory
from monitor.resume.catching_up import CannotResumeError, TakenUp, take_up
from monitor.resume.seam import Resumption, resumption
from monitor.resume.search import newest_recording
from monitor.resume.time_away import age_s

RESUMED_WITHIN_S: Final = 3600.0
"""A recording is gone on with unasked when its last line is younger [s] (our own judgement)."""


def resumed_watch(arguments: argparse.Namespace, profile: Profile) -> tuple[Resumption | None, list[str]]:
    """Take up the recording to go on with, if any; and what the owner is told of that.

    Raises
    ------
    WrongUseError
        When the owner asked for it and it cannot be.
    """
    if arguments.resume is None:
        return _unasked(arguments, profile)
    resumed = resumption(_asked_for(arguments, profile), datetime.now(UTC))
    return resumed, resumed.lines()


def _asked_for(arguments: argparse.Namespace, profile: Profile) -> TakenUp:
    if arguments.no_record:
        raise WrongUseError("--resume goes on with a recording in the same file, so --no-record cannot go with it")
    if arguments.resume != NEWEST and arguments.record is not None:
        raise WrongUseError("--resume FILE goes on recording in that file; leave out --record")
    path = _newest(arguments, profile) if arguments.resume == NEWEST else Path(arguments.resume)
    try:
        return _told(path, profile)
    except CannotResumeError as error:
        raise WrongUseError(f"{_shown(path)} cannot be resumed: {error}. --no-resume begins anew") from error


def _newest(arguments: argparse.Namespace, profile: Profile) -> Path:
    directory = _directory(arguments)
    if directory is None:
        raise WrongUseError("--resume without a file looks in a directory, but --record names a file; name it instead")
    path = newest_recording(directory, profile.parameters.machine)
    if path is None:
        machine = clean_text(profile.parameters.machine)
        raise WrongUseError(f"there is no recording of {machine!r} in {_shown(directory)} to resume")
    return path


def _unasked(arguments: argparse.Namespace, profile: Profile) -> tuple[Resumption | None, list[str]]:
    directory = _directory(arguments)
    if arguments.no_resume or arguments.no_record or directory is None:
        return None, []
    since_s = datetime.now(UTC).timestamp() - RESUMED_WITHIN_S
    path = newest_recording(directory, profile.parameters.machine, since_s=since_s)
    if path is None:
        return None, []
    try:
        resumed = resumption(_young(_told(path, profile)), datetime.now(UTC))
    except CannotResumeError as error:
        return None, [f"not resumed from {clean_text(path.name)}: {error}. A new recording begins"]
    return resumed, resumed.lines()


def _young(taken: TakenUp) -> TakenUp:
    """What was taken up, unless it is too old to go on with unasked: the file's own time may be that of a copy."""
    old_s = age_s(taken.caught_up.pair, taken.caught_up.last_s, datetime.now(UTC))
    if old_s > RESUMED_WITHIN_S:
        taken.close()
        raise CannotResumeError(f"its last line is {span_text(old_s)} old (--resume goes on with it all the same)")
    return taken


def _told(path: Path, profile: Profile) -> TakenUp:
    """Take up a recording, and tell beforehand what is done, for a long one takes seconds."""
    Output(None, sys.stderr).message(f"resuming from {clean_text(path.name)} …")
    return take_up(path, profile)


def _directory(arguments: argparse.Namespace) -> Path | None:
    """Where recordings of this watch go; None when the owner names a file."""
    if arguments.record is None:
        return default_directory()
    where: Path = arguments.record
    return None if where.suffix and not where.is_dir() else where


def _shown(path: Path) -> str:
    return clean_text(str(path), 500)
