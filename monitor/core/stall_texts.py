"""Words for a strand that does not move as it should: what was found, and what to do about each pattern.

Decides nothing; the evidence comes in sentences from stall_pattern.py.
"""

from collections.abc import Mapping
from typing import Final

from monitor.core.stall_findings import StallFinding, StallPattern

_PAUSED: Final = frozenset(StallPattern) - {StallPattern.COLD_SKIPPING, StallPattern.SLOW_CLOG}
"""Patterns in which the build is spoiled, or the strand chewed, for as long as it goes on."""

_RUN_OUT: Final = "Load new strand on input {input}; see that no end of the old one is left in its drive."
_TANGLE: Final = "Free the strand of input {input} on its spool; see that its drive has not chewed it."
_CLOG_LATER: Final = "Purge input {input} hot before the next build, and plan to clean its channel."
_ACTIONS: Final[Mapping[StallPattern, str]] = {
    StallPattern.COLD_SKIPPING: (
        "Raise the manifold by 5 to 10 °C, no higher than its strands bear, or slow the build until input {input} stops"
        " skipping."
    ),
    StallPattern.JAM_AFTER_IDLE: (
        "Withdraw input {input} while hot, cut off the swollen end, load it again. Mind hot parts."
    ),
    StallPattern.GRINDING: (
        "Open the drive of input {input}, clean its wheel, cut off the chewed strand, find what held it."
    ),
    StallPattern.SLOW_CLOG: (
        "Slow the build if you can. Pause within 20 min and purge input {input} hot; plan to clean its channel."
    ),
    StallPattern.STRAND_STOPPED: "Look at spool, drive and cold end of input {input}.",
}


def stall_text(stall: StallFinding | None) -> str:
    """What is wrong with the strand's feed, with the evidence."""
    if stall is None:
        return "moves as it should again"
    doubt = "" if stall.is_final else " (may still turn out otherwise)"
    lost, *reasons = stall.evidence or ("no evidence",)
    return f"{_what(stall)}{doubt}; {'; '.join((*reasons, lost))}"


def _what(stall: StallFinding) -> str:
    """What it looks like; where the evidence tells a run-out from a tangle, only the one."""
    if stall.pattern is not StallPattern.RUN_OUT_OR_TANGLE:
        return f"does not move as it should: {stall.pattern}"
    return f"does not move: {'held fast on its spool (tangle)' if stall.is_held else 'the strand has run out'}"


def stall_action(number: int, stall: StallFinding | None, *, is_building: bool) -> str:
    """What to do about it; a build that is over cannot be paused."""
    if stall is None:
        return f"Nothing yet; it clears once input {number} has moved well for half an hour."
    first = "Pause the build. " if is_building and stall.pattern in _PAUSED else ""
    return f"{first}{_then(stall, is_building=is_building).format(input=number)}"


def _then(stall: StallFinding, *, is_building: bool) -> str:
    if stall.pattern is StallPattern.RUN_OUT_OR_TANGLE:
        return _TANGLE if stall.is_held else _RUN_OUT
    if stall.pattern is StallPattern.SLOW_CLOG and not is_building:
        return _CLOG_LATER
    return _ACTIONS[stall.pattern]
