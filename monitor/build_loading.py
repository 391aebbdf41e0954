"""Opening a build file and reading its schedule; what is wrong with it is told as wrong use."""

from collections.abc import Callable
from pathlib import Path

from connectors.clean_text import clean_text
from monitor.build_file import BuildFileError, BuildSchedule, MotionSettings, read_build_file
from monitor.exit_codes import WrongUseError


def read_schedule(path: Path, motion: MotionSettings, progress: Callable[[int], None] | None = None) -> BuildSchedule:
    """Read a build file.

    Raises
    ------
    WrongUseError
        When it cannot be opened, or is no build file.
    """
    try:
        with path.open("rb") as file:
            return read_build_file(file, motion, progress)
    except OSError as error:
        raise WrongUseError(f"{clean_text(str(path))}: cannot be read: {error.strerror}") from None
    except BuildFileError as error:
        raise WrongUseError(f"{clean_text(str(path))}: {error}") from None
