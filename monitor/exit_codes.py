"""What the command's exit status means, and the error for wrong use. Cheap to import: every command needs it."""

from typing import Final

DONE: Final = 0
ALARM: Final = 1
FOUND_WRONG: Final = 1
"""`doctor` found something wrong."""
WRONG_USE: Final = 2
LINK_FAILED: Final = 3
NOT_ACCEPTED: Final = 4
"""A notification channel did not accept a test message."""
NOT_SEEN: Final = 5
"""Nobody acknowledged a test alert in time."""
NOT_SURVIVED: Final = 6
"""A build does not work as planned, or strands cannot share the hot path."""
OWN_FAULT: Final = 70
"""As `EX_SOFTWARE` of sysexits.h, so that a fault of ours is never taken for an alarm."""

EXIT_STATUS: Final = """\
exit status:
  0   done; also when ended by Ctrl-C, by a signal, or because the output went away
  1   alerts of priority ALARM occurred (only with --fail-on-alarm); doctor: something is wrong
  2   wrong use, or a wrong profile, material, recording or build file
  3   the link to the machine failed for good
  4   a notification channel did not accept a test message
  5   nobody acknowledged a test alert in time
  6   a strand does not survive a build as planned, or what is loaded cannot share the hot path
  70  a fault in strandwatch itself
"""


class WrongUseError(Exception):
    """What the owner asked for cannot be done; the message says what, where, and what to do."""
