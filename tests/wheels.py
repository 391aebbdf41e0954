"""Whether every installation gets along without a compiler: `python -m tests.wheels`.

Asks pip, for each supported Python on x86-64 and 64-bit ARM, to resolve the run-time dependencies and the users' extras
to binary wheels alone; nothing is installed. Since pip judges environment markers by the interpreter that it runs on,
they are judged again here for the one asked about, and what is missing is asked for as well. Exit status: 0 all are
wheels, 1 some are not, 3 the registry was not reached, so nothing is proved.
"""

import json
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any, Final, NamedTuple

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.fresh_environment import NotReachedError, PipError, pip
from tests.requirements import for_users

PYTHONS: Final = ("3.11", "3.12", "3.13", "3.14")
MACHINES: Final = ("x86_64", "aarch64")
_GLIBC: Final = range(36, 16, -1)
"""Wheels for glibc 2.17 to 2.36: the newest is that of the oldest Debian with a Python that is new enough (12)."""
_ROUNDS: Final = 4
DONE, NO_WHEEL, NOT_REACHED = 0, 1, 3


class Target(NamedTuple):
    """What is installed upon."""

    python: str
    machine: str

    @property
    def environment(self) -> Mapping[str, str]:
        """How environment markers see it."""
        return {
            "python_version": self.python,
            "python_full_version": f"{self.python}.0",
            "platform_machine": self.machine,
            "platform_system": "Linux",
            "sys_platform": "linux",
            "os_name": "posix",
            "platform_python_implementation": "CPython",
            "implementation_name": "cpython",
        }

    @property
    def options(self) -> list[str]:
        """How pip is told of it."""
        platforms = [f"--platform=manylinux_2_{minor}_{self.machine}" for minor in _GLIBC]
        return ["--only-binary=:all:", "--implementation=cp", f"--python-version={self.python}", *platforms]


class Outcome(NamedTuple):
    """What came of one target: how many wheels, how many of these were built for a machine; or what went wrong."""

    target: Target
    wheels: int = 0
    built: int = 0
    fault: str = ""


Resolved = Mapping[str, Mapping[str, Any]]


def needed(roots: Sequence[Requirement], resolved: Resolved, environment: Mapping[str, str]) -> Iterator[Requirement]:
    """All that is needed by markers of `environment`, from the roots on, as far as it was resolved."""
    seen: set[tuple[str, str]] = set()
    queue = [root for root in roots if _applies(root, "", environment)]
    while queue:
        requirement = queue.pop()
        yield requirement
        name = canonicalize_name(requirement.name)
        for chosen in {"", *requirement.extras}:
            if name in resolved and (name, chosen) not in seen:
                seen.add((name, chosen))
                texts = resolved[name].get("requires_dist", [])
                queue += [each for each in map(Requirement, texts) if _applies(each, chosen, environment)]


def _applies(requirement: Requirement, extra: str, environment: Mapping[str, str]) -> bool:
    marker = requirement.marker
    return marker is None or marker.evaluate({**environment, "extra": extra})


def resolve(target: Target, roots: Sequence[Requirement]) -> Outcome:
    """Resolve the requirements for a target, markers included."""
    asked = {str(root) for root in roots}
    for _ in range(_ROUNDS):
        items = _asked_of_pip(target, sorted(asked))
        resolved: dict[str, Mapping[str, Any]] = {
            canonicalize_name(item["metadata"]["name"]): item["metadata"] for item in items
        }
        every = needed(roots, resolved, target.environment)
        missing = {_bare(each) for each in every if canonicalize_name(each.name) not in resolved}
        if not missing:
            files = [item["download_info"]["url"].rpartition("/")[2] for item in items]
            return Outcome(target, len(files), sum("-none-any." not in name for name in files))
        asked |= missing
    return Outcome(target, fault=f"still missing after {_ROUNDS} rounds: {', '.join(sorted(missing))}")


def _bare(requirement: Requirement) -> str:
    """The requirement without its marker, which pip would judge by its own interpreter."""
    plain = Requirement(str(requirement))
    plain.marker = None
    return str(plain)


def _asked_of_pip(target: Target, asked: Sequence[str]) -> list[dict[str, Any]]:
    with tempfile.TemporaryDirectory() as nowhere:
        words = ["install", "--quiet", "--dry-run", "--ignore-installed", f"--target={nowhere}", "--report=-"]
        report = json.loads(pip(*words, *target.options, *asked))
    items: list[dict[str, Any]] = report["install"]
    return items


def _looked_at(target: Target) -> Outcome:
    try:
        return resolve(target, [Requirement(_bare(each)) for each in for_users()])
    except PipError as error:
        return Outcome(target, fault=str(error))


def rows(outcomes: Sequence[Outcome]) -> Iterator[str]:
    """Lay out the table."""
    yield f"{'machine':<9}{'Python':<8}{'wheels':>7}{'built':>7}  verdict"
    for target, wheels, built, fault in outcomes:
        verdict = fault.splitlines()[-1] if fault else "no compiler needed"
        yield f"{target.machine:<9}{target.python:<8}{wheels or '-':>7}{built or '-':>7}  {verdict}"


def main() -> int:
    """Print the table."""
    targets = [Target(python, machine) for machine in MACHINES for python in PYTHONS]
    try:
        with ThreadPoolExecutor(2) as pool:
            outcomes = list(pool.map(_looked_at, targets))
    except NotReachedError as error:
        sys.stdout.write(f"{error}\nThe package registry was not reached, so nothing is proved.\n")
        return NOT_REACHED
    sys.stdout.write("\n".join(rows(outcomes)) + "\n")
    return NO_WHEEL if any(outcome.fault for outcome in outcomes) else DONE


if __name__ == "__main__":
    sys.exit(main())
