"""Words for a strand that does not move as it should: what was found, and what to do about each pattern.

Decides nothing; the evidence comes in sentences from stall_pattern.py.
"""

from collections.abc import Mapping
from typing import Final

from monitor.core.stall_findings import StallFinding, StallPattern

_ACTIONS: Final[Mapping[StallPattern, str]] = {
    StallPattern.COLD_SKIPPING: (
        "Raise the manifold by 5 to 10 °C, no higher than its strands bear, or slow the build until input {input} stops"
        " skipping."
    ),
    StallPattern.JAM_AFTER_IDLE: (
        "Pause the build. Withdraw input {input} while hot, cut off the swollen end, load it again. Mind hot parts."
    ),
    StallPattern.GRINDING: (
        "Pause the build. Open the drive of input {input}, clean its wheel, cut off the chewed strand, find"
        " what held it."
    ),
    StallPattern.SLOW_CLOG: (
        "Slow the build if you can. Purge input {input} hot at the next pause, and plan to clean its channel."
    ),
    StallPattern.RUN_OUT_OR_TANGLE: "Pause the build. Look at the spool of input {input}: is it empty, or tangled?",
    StallPattern.STRAND_STOPPED: "Pause the build. Look at spool, drive and cold end of input {input}.",
}


def stall_text(stall: StallFinding | None) -> str:
    """What is wrong with the strand's feed, with the evidence."""
    if stall is None:
        return "moves as it should again"
    doubt = "" if stall.is_final else " (may still turn out otherwise)"
    return f"does not move as it should: {stall.pattern}{doubt}; {'; '.join(stall.evidence)}"


def stall_action(number: int, stall: StallFinding | None) -> str:
    """What to do about it."""
    if stall is None:
        return f"Nothing yet; it clears once input {number} has moved well for half an hour."
    return _ACTIONS[stall.pattern].format(input=number)
