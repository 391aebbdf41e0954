"""Profiles for the commands that run a watch: every fault becomes the one message the owner sees."""

from collections.abc import Callable

from monitor.config import Profile, ProfileError
from monitor.exit_codes import WrongUseError
from monitor.profile.report import fault_lines


def loaded(load: Callable[[], Profile]) -> Profile:
    """What `load` gives; raises WrongUseError with all faults of the profile."""
    try:
        return load()
    except ProfileError as error:
        raise WrongUseError("\n".join(fault_lines(error))) from error
