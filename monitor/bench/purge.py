"""How much strand it takes to change the material in the hot path.

Owns the reckoning from channel volumes and the word on practice. Knows nothing of which materials change.
"""

from math import ceil
from typing import Final, NamedTuple

from monitor.core.parameters import Parameters
from monitor.planning.load_out import purge_mm

IN_PRACTICE: Final = (
    "in practice more than a metre after a full change of the path: common practice, no source (what clings to the"
    " walls leaves slowly)"
)


class PurgeLengths(NamedTuple):
    """Strand that fills what it has to push out once [mm of strand]."""

    shared_mm: float  # from the merge point to the outlet
    path_mm: float  # all of the path, cold end to outlet


def purge_lengths(parameters: Parameters) -> PurgeLengths:
    """Strand whose volume is that of the channels.

    A channel of bore b holds as much as (b/d)² of its length in strand of diameter d.
    """
    before = parameters.zones[: parameters.last_before_merge + 1]
    shared_mm = purge_mm(parameters)
    own_mm = sum(zone.length_mm * (zone.bore_mm / parameters.filament_diameter_mm) ** 2 for zone in before)
    return PurgeLengths(shared_mm, own_mm + shared_mm)


def purge_text(lengths: PurgeLengths) -> str:
    """Say how much to feed before the next material can be trusted."""
    return (
        f"Purge between materials, from the channels' volume: {ceil(lengths.shared_mm)} mm of strand fill what all"
        f" strands share after the merge point once, {ceil(lengths.path_mm)} mm the whole path; {IN_PRACTICE}."
    )
