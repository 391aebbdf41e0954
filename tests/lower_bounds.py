"""Whether the lowest versions that pyproject.toml allows do work: `python -m tests.lower_bounds [--python PYTHON]`.

Makes a fresh environment of the lowest Python supported, puts in the lowest version of every run-time dependency and of
the users' extras, sees that it is these that came, and runs there one portion of the tests for each of them and a whole
simulated night. Exit status: 0 they do, 1 they do not, 3 the registry was not reached, so nothing is proved.
"""

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Final

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

from tests.fresh_environment import NotReachedError, PipError, fresh, install, pip
from tests.requirements import ROOT, USERS_EXTRAS, extra, for_users, lowest

LOWEST_PYTHON: Final = "3.11"
PORTION: Final[Mapping[str, tuple[str, ...]]] = {
    "apprise": ("tests/test_notify_service.py",),
    "matplotlib": ("tests/test_report_page.py",),
    "msgspec": ("tests/test_recording_lines.py", "tests/test_attach_wire.py"),
    "numpy": ("tests/test_field.py", "tests/test_conduction.py", "tests/test_engine.py"),
    "platformdirs": ("tests/test_cli.py",),
    "pyarrow": ("tests/test_export.py",),
    "pydantic": ("tests/test_config.py", "tests/test_config_faults.py", "tests/test_websocket_settings.py"),
    "pyserial": ("tests/test_serial_wire.py",),
    "pyserial-asyncio": ("tests/test_serial_link.py",),
    "segno": ("tests/test_commands_serve.py",),
    "textual": ("tests/test_screen.py", "tests/test_screen_replay.py"),
    "tomlkit": ("tests/test_bench_materials.py",),
    "websockets": ("tests/test_websocket_link.py", "tests/test_websocket_let_in.py", "tests/test_websocket_trouble.py"),
    "zstandard": ("tests/test_recording.py",),
}
"""What exercises each of them; a test sees to it that none is left out."""
_NOT_FOR_TESTS: Final = frozenset({"mypy", "ruff", "river", "ruptures", "atheris", "import-linter", "build"})
DONE, FAILED, NOT_REACHED = 0, 1, 3


def constraints() -> list[str]:
    """The lowest versions allowed, as pip's constraints.

    Raises
    ------
    ValueError
        Where a requirement has no lower bound.
    """
    rows = []
    for requirement in for_users():
        version = lowest(requirement)
        if version is None:
            raise ValueError(f"{requirement} has no lower bound")
        rows.append(f"{requirement.name}=={version}")
    return sorted(rows)


def tools() -> list[str]:
    """What the tests need beside it, at any version that goes with the others."""
    return [str(each) for each in extra("dev") if each.name not in _NOT_FOR_TESTS]


def unlike(asked: Sequence[str], installed: Mapping[str, str]) -> Iterator[str]:
    """Tell what is not there in the version asked for."""
    for requirement in map(Requirement, asked):
        found = installed.get(canonicalize_name(requirement.name))
        if found is None or Version(found) != lowest(requirement):
            yield f"asked for {requirement}, got {found}"


def installed_in(python: Path) -> dict[str, str]:
    """Name and version of all that an environment holds."""
    rows = json.loads(pip("--python", str(python), "list", "--format=json"))
    return {canonicalize_name(row["name"]): row["version"] for row in rows}


def _run(python: Path, *words: str) -> bool:
    """Run a command of the environment in the project's directory; whether it went well."""
    paths = os.pathsep.join([str(python.parent), os.environ.get("PATH", "")])
    environment = {**os.environ, "PATH": paths, "OPENBLAS_NUM_THREADS": "1"}
    done = subprocess.run([str(python), *words], check=False, cwd=ROOT, env=environment)  # noqa: S603 -- our own tests
    return done.returncode == 0


def try_in(python: Path) -> bool:
    """Install the lowest versions there, and run the portion; whether all of it went well."""
    asked = constraints()
    with tempfile.TemporaryDirectory() as folder:
        listed = Path(folder, "constraints.txt")
        listed.write_text("\n".join(asked) + "\n")
        install(python, "--constraint", str(listed), f"{ROOT}[{','.join(USERS_EXTRAS)}]", *tools())
    wrong = list(unlike(asked, installed_in(python)))
    sys.stdout.write("\n".join([*asked, *wrong, ""]))
    sys.stdout.flush()
    files = [file for rows in PORTION.values() for file in rows]
    passed = _run(python, "-m", "pytest", "-q", "-n", "2", *files)
    return passed and _run(python, "-m", "monitor", "demo", "--headless") and not wrong


def main() -> int:
    """Try the lowest versions."""
    parser = argparse.ArgumentParser(description="Try the lowest versions of all dependencies that are allowed.")
    found = shutil.which(f"python{LOWEST_PYTHON}") or sys.executable
    parser.add_argument("--python", default=found, help=f"the interpreter to use (default: {found})")
    try:
        with fresh(parser.parse_args().python) as python:
            return DONE if try_in(python) else FAILED
    except NotReachedError as error:
        sys.stdout.write(f"{error}\nThe package registry was not reached, so nothing is proved.\n")
        return NOT_REACHED
    except PipError as error:
        sys.stdout.write(f"The lowest versions cannot be installed together:\n{error}\n")
        return FAILED


if __name__ == "__main__":
    sys.exit(main())
