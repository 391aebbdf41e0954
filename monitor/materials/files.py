"""The files that materials come from, in the order in which they have their say.

Owns which files are read, and the reading of one within bounds. Knows nothing of what stands in them.
"""

import tomllib
from collections.abc import Iterator, Sequence
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

from platformdirs import user_config_path

from monitor.materials.errors import MaterialsError
from monitor.materials.tables import Origin
from monitor.profile.faults import Fault
from monitor.text_file import UnreadableError, read_text_file, tables_of

USER_FILE: Final = "materials.toml"

_PACKAGE_FILES: Final = (
    ("materials.toml", Origin("the package's materials.toml", source="")),
    ("demo_materials.toml", Origin("the package's demo_materials.toml", "invented", "invented for the demo")),
)


def user_file() -> Path:
    """Give the place of the owner's own materials, whether or not there is such a file."""
    return user_config_path("strandwatch", appauthor=False) / USER_FILE


def package_tables() -> Iterator[tuple[Origin, dict[str, Any]]]:
    """Read the package's files."""
    for name, origin in _PACKAGE_FILES:
        yield origin, tomllib.loads(files("monitor.materials").joinpath(name).read_text(encoding="utf-8"))


def files_of_the_owner(given: Sequence[Path]) -> Iterator[Path]:
    """Name the owner's files in order: the one at its own place if it is there, then those given."""
    if not _is_absent(user_file()):
        yield user_file()
    yield from given


def read_tables(path: Path) -> dict[str, Any]:
    """Read one file of the owner.

    Raises
    ------
    MaterialsError
        When it cannot be read, or is no TOML.
    """
    try:
        return tables_of(read_text_file(path))
    except UnreadableError as error:
        raise _unusable(path, str(error)) from error


def _is_absent(path: Path) -> bool:
    """Tell whether there is no such file; one that cannot be reached counts as there, so that reading it tells why."""
    try:
        path.stat()
    except (FileNotFoundError, NotADirectoryError):
        return True
    except OSError:
        return False
    return False


def _unusable(path: Path, problem: str) -> MaterialsError:
    return MaterialsError([Fault(str(path), "", None, problem)])
