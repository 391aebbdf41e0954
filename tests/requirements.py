"""What pyproject.toml asks for: requirements by part, with their bounds. Reads that one file; asks no registry."""

import tomllib
from pathlib import Path
from typing import Any, Final

from packaging.requirements import Requirement
from packaging.version import Version

ROOT: Final = Path(__file__).parents[1]
USERS_EXTRAS: Final = ("report", "parquet")
"""Extras that users install; the others are for developers."""


def _project() -> dict[str, Any]:
    project: dict[str, Any] = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    return project


def run_time() -> list[Requirement]:
    """What every installation needs."""
    return [Requirement(text) for text in _project()["dependencies"]]


def extra(name: str) -> list[Requirement]:
    """What an extra needs beside it."""
    return [Requirement(text) for text in _project()["optional-dependencies"][name]]


def for_users() -> list[Requirement]:
    """What installations can need, extras included."""
    return [*run_time(), *(needed for name in USERS_EXTRAS for needed in extra(name))]


def lowest(requirement: Requirement) -> Version | None:
    """The lowest version allowed; None where no bound is stated.

    >>> lowest(Requirement("numpy>=2.2,<3")), lowest(Requirement("pyserial-asyncio==0.6")), lowest(Requirement("mypy"))
    (<Version('2.2')>, <Version('0.6')>, None)
    """
    found = [Version(bound.version) for bound in requirement.specifier if bound.operator in {">=", "=="}]
    return max(found, default=None)


def is_capped(requirement: Requirement) -> bool:
    """Whether a version is stated that is too new.

    >>> is_capped(Requirement("numpy>=2.2,<3")), is_capped(Requirement("mypy>=2.4"))
    (True, False)
    """
    return any(bound.operator in {"<", "<=", "==", "~="} for bound in requirement.specifier)
