"""Limits that the owner accepted, as values of the owner's file of materials."""

from pathlib import Path
from typing import Any

from monitor.archive.proposal import Proposal
from monitor.materials import own as own_materials
from monitor.materials.own import NotWrittenError


def values_of(proposal: Proposal) -> dict[str, dict[str, Any]]:
    """The limits as values of a materials file."""
    vouched = {"status": "own", "source": proposal.source}
    limit = {"value": proposal.limit_min, "low": proposal.low_min, "high": proposal.high_min}
    return {
        "warn_min": {"value": proposal.warn_min, **vouched},
        "limit_min": {**limit, **vouched, "note": proposal.note},
    }


def lines_to_paste(proposal: Proposal) -> str:
    """The lines that say the same, for the owner to copy."""
    return own_materials.lines_to_paste(proposal.material, values_of(proposal))


def edited(text: str, proposal: Proposal) -> str:
    """The text of a materials file with the limits in it, comments and all else kept.

    Raises
    ------
    NotWrittenError
        When that cannot be done without changing something else.
    """
    try:
        return own_materials.edited(text, proposal.material, values_of(proposal))
    except NotWrittenError as error:
        raise NotWrittenError(f"{error}; paste by hand:\n{lines_to_paste(proposal)}") from error


def accept(path: Path, proposal: Proposal) -> None:
    """Put the limits into the owner's file; NotWrittenError when it is not to be written, or would be faulty."""
    own_materials.write_values(path, proposal.material, values_of(proposal))
