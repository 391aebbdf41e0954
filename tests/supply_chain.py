"""What a fresh installation contains: `python -m tests.supply_chain [--out FILE]`.

Installs strandwatch with the users' extras into a fresh environment, writes its bill of materials (CycloneDX 1.6,
checked against the schema that the library ships), refuses licences that are not accepted, and asks for known
vulnerabilities. Needs `pip install -e '.[audit]'`. Exit status: 0 all was looked at and nothing found, 1 something was
found, 2 the tools are not installed, 3 nothing was found, but advisories or registry could not be asked: that is no
all-clear.
"""

import argparse
import importlib.util
import json
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final, NamedTuple

from tests.fresh_environment import NotReachedError, fresh, install
from tests.licences import declared, refused
from tests.requirements import ROOT, USERS_EXTRAS

SPEC: Final = "1.6"
SERVICES: Final = ("pypi", "osv")
"""Where advisories are asked for: the registry's own, then the open database that it takes them from."""
_TOOLS: Final = ("cyclonedx_py", "pip_audit")
_LONGEST_S: Final = 300.0
FINE, FOUND, NO_TOOLS, NOT_ASKED = 0, 1, 2, 3


class Audit(NamedTuple):
    """What came of asking for vulnerabilities: those known, and packages of which nobody could tell."""

    known: Sequence[str] = ()
    untold: Sequence[str] = ()


def bill_of_materials(python: Path, out: Path) -> list[dict[str, Any]]:
    """Write what an environment contains; gives the components. The tool itself checks it against its schema."""
    options = ("--spec-version", SPEC, "--mc-type", "application", "--output-reproducible", "--validate")
    command = [
        sys.executable,
        "-m",
        "cyclonedx_py",
        "environment",
        *options,
        "--pyproject",
        str(ROOT / "pyproject.toml"),
    ]
    subprocess.run([*command, "-o", str(out), str(python)], check=True)  # noqa: S603 -- words of ours
    document = json.loads(out.read_text())
    components: list[dict[str, Any]] = document["components"]
    return components


def audit(packages: Path, own: str) -> Audit:
    """Ask for known vulnerabilities of what is installed in a directory, one service after the other."""
    found = Audit(untold=["everything"])
    for service in SERVICES:
        report = _asked(packages, service)
        if report is not None:
            found = read(report, own)
        if not found.untold:
            break
    return found


def _asked(packages: Path, service: str) -> Mapping[str, Any] | None:
    """The service's answer; None where it gave none."""
    options = ("--format", "json", "--progress-spinner", "off", "--timeout", "20", "--vulnerability-service", service)
    command = [sys.executable, "-m", "pip_audit", "--path", str(packages), *options]
    try:
        done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=_LONGEST_S)  # noqa: S603 -- ours
        report: Mapping[str, Any] = json.loads(done.stdout)
    except (subprocess.TimeoutExpired, ValueError):
        return None
    return report


def read(report: Mapping[str, Any], own: str) -> Audit:
    """Read an answer. A package that was skipped was not looked at, whatever the service makes of that."""
    rows = [row for row in report["dependencies"] if row["name"] != own]
    known = [
        f"{row['name']} {row['version']}: {fault['id']}, mended in {', '.join(fault['fix_versions']) or 'no version'}"
        for row in rows
        for fault in row.get("vulns", [])
    ]
    untold = [row["name"] for row in rows if "skip_reason" in row]
    return Audit(known, untold if rows else ["everything"])


def verdict(refused_licences: Sequence[str], found: Audit) -> int:
    """Give the exit status."""
    if refused_licences or found.known:
        return FOUND
    return NOT_ASKED if found.untold else FINE


def _told(found: Audit) -> str:
    if found.known:
        return "\n".join(["Known vulnerabilities:", *found.known])
    if found.untold:
        some = ", ".join(found.untold[:5])
        return f"Vulnerabilities: COULD NOT LOOK. No advisories were to be had of {len(found.untold)} ({some} …)."
    return "Vulnerabilities: every package was looked at, none is known."


def _looked_at(out: Path) -> int:
    with fresh() as python:
        install(python, f"{ROOT}[{','.join(USERS_EXTRAS)}]")
        components = bill_of_materials(python, out)
        packages = next(python.parents[1].glob("lib/python*/site-packages"))
        found = audit(packages, "strandwatch")
    for component in components:
        sys.stdout.write(f"{component['name']:<22}{component['version']:<20}{'; '.join(declared(component))}\n")
    wrong = list(refused(components))
    licences = "\n".join(["Licences not accepted:", *wrong]) if wrong else "Licences: all are accepted."
    sys.stdout.write(f"\n{len(components)} packages, in {out}\n{licences}\n{_told(found)}\n")
    return verdict(wrong, found)


def main() -> int:
    """Look at all of it."""
    parser = argparse.ArgumentParser(description="Bill of materials, licences and known vulnerabilities.")
    parser.add_argument("--out", type=Path, default=ROOT / "dist" / "strandwatch.cdx.json", help="where the bill goes")
    out = parser.parse_args().out
    if any(importlib.util.find_spec(name) is None for name in _TOOLS):
        sys.stdout.write("This needs tools that CI does not: pip install -e '.[audit]'\n")
        return NO_TOOLS
    out.parent.mkdir(parents=True, exist_ok=True)
    try:
        return _looked_at(out)
    except NotReachedError as error:
        sys.stdout.write(f"{error}\nThe package registry was not reached, so nothing was looked at.\n")
        return NOT_ASKED


if __name__ == "__main__":
    sys.exit(main())
