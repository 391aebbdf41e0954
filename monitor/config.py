"""Loading a machine profile: from a TOML file, or the tables in a recording's header, to what engine and link need.

Owns the order of the steps and the promise that all faults are told at once. Knows nothing of screens, engines or
how a link runs.
"""

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

from pydantic import ValidationError

from connectors.withheld import without_secrets
from monitor.build_file import MotionSettings
from monitor.core.parameters import Parameters
from monitor.materials.errors import MaterialsError
from monitor.materials.known import MaterialTable, load_materials, package_materials
from monitor.materials.tables import Origin, merge
from monitor.planning.settings import PlanSettings
from monitor.profile.checks import check
from monitor.profile.defaults import DefaultUsed, defaults_used
from monitor.profile.draft import draft
from monitor.profile.faults import Fault, Finding, Place, ProfileError, fault, findings, value_at
from monitor.profile.link_mapping import Link, sensors_reported
from monitor.profile.model import ProfileFile
from monitor.profile.motion import motion_settings
from monitor.profile.parameters import Loan, check_materials, loans, make_parameters
from monitor.profile.planning import plan_settings
from monitor.text_file import UnreadableError, read_text_file, tables_of

__all__ = [
    "DefaultUsed",
    "Fault",
    "Profile",
    "ProfileError",
    "demo_profile",
    "load_profile",
    "parse_profile",
    "profile_from_tables",
]

DEMO_FILE: Final = "profile/demo_profile.toml"


@dataclass(frozen=True, slots=True)
class Profile:
    """A profile without faults.

    Parameters
    ----------
    parameters : Parameters
        What the engine is told.
    link : SerialSettings or WebsocketSettings or None
        How to reach the machine; None for a profile that is only replayed or simulated.
    table : Mapping[str, Any]
        The profile as it stands in the file, for recordings. Secrets are never in a profile's file.
    material_tables : Mapping[str, Any]
        The tables of the materials and liners that the profile uses, overrides included, for recordings.
    defaults : tuple of DefaultUsed
        Every default that filled a gap, with its origin.
    loans : tuple of Loan
        What stand-ins lend, value by value.
    sensors_reported : frozenset of str
        Sensors that the link's mapping provides; empty without a link.
    notify_file : str or None
        Where the notification channels stand; None for the owner's own place.
    motion : MotionSettings
        What is needed to read build files.
    planning : PlanSettings
        What is needed to plan a build beside that.
    """

    parameters: Parameters
    link: Link | None
    table: Mapping[str, Any]
    material_tables: Mapping[str, Any]
    defaults: tuple[DefaultUsed, ...]
    loans: tuple[Loan, ...]
    sensors_reported: frozenset[str]
    notify_file: str | None = None
    motion: MotionSettings = field(default_factory=MotionSettings)
    planning: PlanSettings = field(default_factory=PlanSettings)


def load_profile(path: Path, *, user_materials: Sequence[Path] = ()) -> Profile:
    """Read a profile's file; each of `user_materials` adds to the package's materials or overrides them.

    Raises
    ------
    ProfileError
        When the file cannot be read, or with all that is wrong in it.
    """
    try:
        text = read_text_file(path)
    except UnreadableError as error:
        raise _unreadable(str(path), str(error)) from error
    return parse_profile(text, str(path), user_materials=user_materials)


def demo_profile() -> Profile:
    """Give the profile of the invented machine that `demo` simulates, with the invented materials alone."""
    table = tomllib.loads(files("monitor").joinpath(DEMO_FILE).read_text(encoding="utf-8"))
    return _profile(table, package_materials(), DEMO_FILE, overrides=_overrides(table))


def parse_profile(text: str, file_name: str, *, user_materials: Sequence[Path] = ()) -> Profile:
    """Make a profile of the text of its file; `file_name` stands in the faults.

    Raises
    ------
    ProfileError
        With all that is wrong in the text.
    """
    try:
        table = tables_of(text)
    except UnreadableError as error:
        raise _unreadable(file_name, str(error)) from error
    try:
        materials = load_materials(user_materials)
    except MaterialsError as error:
        raise ProfileError(error.faults) from error
    return _profile(table, materials, file_name, overrides=_overrides(table))


def profile_from_tables(table: Mapping[str, Any], material_tables: Mapping[str, Any], file_name: str) -> Profile:
    """Make a profile of the tables in a recording's header; `material_tables` have the profile's overrides in them.

    Raises
    ------
    ProfileError
        With all that is wrong in the tables.
    """
    try:
        materials = MaterialTable.from_tables(material_tables)
    except MaterialsError as error:
        raise ProfileError(error.faults) from error
    return _profile(table, materials, file_name, overrides={})


def _profile(
    table: Mapping[str, Any], materials: MaterialTable, file_name: str, overrides: Mapping[str, Any]
) -> Profile:
    found: list[Finding] = []
    model: ProfileFile | None = None
    try:
        model = ProfileFile.model_validate(table)
    except ValidationError as error:
        found += findings(error, ProfileFile, table)
    merged = merge(materials.entries, overrides, Origin("the profile"))
    materials = MaterialTable(merged.entries)
    read = draft(table)
    found += check(read)
    lost = set(overrides) - set(merged.entries)  # told by `merged.faults`, not once more where a strand is made of it
    found += [finding for finding in check_materials(read, materials) if value_at(table, finding.path) not in lost]
    own = [replace(told, file=file_name, key=f"materials.{told.key}") for told in merged.faults]
    if model is None or found or own:
        raise ProfileError([*(fault(file_name, table, finding) for finding in _in_order(found)), *own])
    return _assemble(model, table, materials)


def _overrides(table: Mapping[str, Any]) -> Mapping[str, Any]:
    """Give the profile's own materials; a wrong type there is told by the check of the whole file."""
    tables = table.get("materials")
    return tables if isinstance(tables, dict) else {}


def _in_order(found: Sequence[Finding]) -> list[Finding]:
    """Sort findings as the file goes, each place once: a second finding about it follows from the first.

    For the same reason a finding about a whole table is left out when one of its keys is faulty.
    """
    first: dict[Place, Finding] = {}
    for finding in found:
        whole_table = len(finding.path) == len(("zones", 0))
        if not (whole_table and any(path[:2] == finding.path for path in first)):
            first.setdefault(finding.path, finding)
    sections = list(ProfileFile.model_fields)
    return sorted(first.values(), key=lambda finding: _position(finding.path, sections))


def _position(path: Place, sections: Sequence[str]) -> tuple[int, int]:
    section = sections.index(str(path[0])) if path and path[0] in sections else -1
    return section, path[1] if len(path) > 1 and isinstance(path[1], int) else -1


def _assemble(model: ProfileFile, table: Mapping[str, Any], materials: MaterialTable) -> Profile:
    parameters = make_parameters(model, materials)
    named = [name for row in model.strands for name in (row.material, row.stand_in)]
    used = {name for name in (*named, *(zone.liner for zone in model.zones)) if name is not None}
    return Profile(
        parameters=parameters,
        link=model.link,
        table=without_secrets(table),
        material_tables=materials.tables(sorted(used)),
        defaults=defaults_used(model, parameters),
        loans=loans(model, materials),
        sensors_reported=frozenset() if model.link is None else sensors_reported(model.link),
        notify_file=model.alerts.notify_file,
        motion=motion_settings(model),
        planning=plan_settings(model),
    )


def _unreadable(file_name: str, problem: str) -> ProfileError:
    """The error that concerns the file as a whole."""
    return ProfileError([Fault(file_name, "", None, problem)])
