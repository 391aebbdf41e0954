"""Runs `archive learn`: what marked recordings say of the dose limits of materials; never taken over by itself."""

import argparse
from collections.abc import Iterator
from pathlib import Path
from textwrap import wrap
from typing import Final

from connectors.clean_text import clean_text
from monitor.archive.accepting import accept, lines_to_paste
from monitor.archive.directory import marks_in
from monitor.archive.evidence import Evidence, Mark, evidence_of, materials_marked
from monitor.archive.index import Index, Search
from monitor.archive.judged import Law
from monitor.archive.outcomes import stem_of
from monitor.archive.proposal import (
    METHOD,
    SOURCE,
    Proposal,
    Standing,
    evidence_lines,
    prior_in,
    proposal_lines,
    propose,
)
from monitor.commands.archive_run import opened_index
from monitor.exit_codes import DONE, WrongUseError
from monitor.materials.files import user_file
from monitor.materials.known import MaterialError, MaterialsError, MaterialTable, load_materials, package_materials
from monitor.materials.model import PolymerTable

WIDTH: Final = 110


def learn(arguments: argparse.Namespace, directory: Path) -> int:
    """Show what is proposed, with its evidence; take over the one that the owner accepts."""
    try:
        table = load_materials(arguments.materials)
    except MaterialsError as error:
        raise WrongUseError("\n".join(str(fault) for fault in error.faults)) from error
    with opened_index(arguments, directory) as index:
        marks = list(_marks(index, directory))
    wanted = None if arguments.accept is None else clean_text(arguments.accept)
    names = [name for name in materials_marked(marks) if wanted in {None, name}]
    if not names:
        raise WrongUseError(
            f"no recording with {wanted} is marked" if wanted else "no recording is marked yet; archive mark does that"
        )
    print("\n".join(wrap(METHOD, WIDTH)))
    proposals = [proposal for name in names if (proposal := _told(name, table, marks)) is not None]
    if wanted is not None:
        _accept(proposals, arguments.materials[-1] if arguments.materials else user_file())
    elif proposals:
        print("nothing was changed; --accept MATERIAL puts a proposal into your materials")
    return DONE


def _marks(index: Index, directory: Path) -> Iterator[Mark]:
    outcomes = marks_in(directory)
    for row in index.find(Search()):
        outcome = outcomes.get(stem_of(row.name) or "")
        if outcome is not None:
            yield Mark(row.name, outcome, index.strands(row.name))


def _told(name: str, table: MaterialTable, marks: list[Mark]) -> Proposal | None:
    """Print what is known of a material and what follows; give the proposal, if there is one."""
    print()
    try:
        material = table.material(name)
    except MaterialError as error:
        print(f"{clean_text(name)}: {clean_text(str(error), 400)}")
        return None
    law = Law(material.reference_c, material.ea_below_kj_mol, material.ea_above_kj_mol)
    evidence = evidence_of(name, law, marks)
    print("\n".join(evidence_lines(evidence)))
    found = _proposed(evidence, table, Standing(material.warn_min, material.limit_min, _prior_min(name, table)))
    told = wrap(found, WIDTH - 2) if isinstance(found, str) else proposal_lines(found)
    print("\n".join(f"  {line.strip()}" for line in told))
    return found if isinstance(found, Proposal) else None


def _proposed(evidence: Evidence, table: MaterialTable, standing: Standing) -> Proposal | str:
    if evidence.material not in table.names:
        return "not a material of your tables"
    return propose(evidence, standing)


def _prior_min(name: str, table: MaterialTable) -> float:
    """The limit that knows nothing of these recordings: the package's, or the owner's before anything was learned."""
    package = package_materials()
    if name in package.names:
        return package.material(name).limit_min
    entry = table.record(name)
    limit = entry.limit_min if isinstance(entry, PolymerTable) else None
    limit_min = table.material(name).limit_min
    return limit_min if limit is None or not limit.source.startswith(SOURCE) else prior_in(limit.note, limit_min)


def _accept(proposals: list[Proposal], path: Path) -> None:
    if not proposals:
        raise WrongUseError("there is nothing to accept, as told above")
    (proposal,) = proposals
    accept(path, proposal)
    print(f"written to {clean_text(str(path), 500)}:\n{lines_to_paste(proposal)}")
