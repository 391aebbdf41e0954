"""Bounds of all dependencies are stated; what looks at wheels, licences and advisories tells no more than it knows."""

from collections.abc import Mapping
from typing import Any

import pytest
from packaging.requirements import Requirement

from tests.licences import ACCEPTED, is_accepted, refused
from tests.lower_bounds import PORTION, constraints, unlike
from tests.requirements import ROOT, extra, for_users, is_capped, lowest
from tests.supply_chain import FINE, FOUND, NOT_ASKED, Audit, read, verdict
from tests.wheels import Target, needed


@pytest.mark.parametrize("requirement", for_users(), ids=str)
def test_what_users_install_is_bounded_on_both_sides(requirement: Requirement) -> None:
    """Each has a lowest version, which can be tried, and a cap, so that a new major release breaks no installation."""
    low = lowest(requirement)
    assert low is not None
    assert is_capped(requirement)
    assert requirement.specifier.contains(low)


@pytest.mark.parametrize("name", ["dev", "audit"])
def test_what_developers_install_has_a_lowest_version(name: str) -> None:
    """New releases are wanted there, old ones are not."""
    assert [str(each) for each in extra(name) if lowest(each) is None] == []


def test_every_dependency_is_tried_at_its_lowest() -> None:
    """The portion of tests names each of them, and nothing else; its files are there."""
    assert sorted(PORTION) == sorted(requirement.name for requirement in for_users())
    assert [file for files in PORTION.values() for file in files if not (ROOT / file).is_file()] == []
    assert len(constraints()) == len(PORTION)


def test_another_version_than_the_lowest_is_told() -> None:
    """Were pip to put in a newer one, that would prove nothing, and is said; 2.2 and 2.2.0 are the same."""
    asked = ["numpy==2.2", "zstandard==0.23", "segno==1.6.1"]
    assert list(unlike(asked, {"numpy": "2.2.0", "zstandard": "0.25.0"})) == [
        "asked for zstandard==0.23, got 0.25.0",
        "asked for segno==1.6.1, got None",
    ]


def test_markers_are_those_of_the_machine_asked_about() -> None:
    """What an older Python or another machine needs is needed there, whatever runs this; extras of extras count."""
    resolved: Mapping[str, Mapping[str, Any]] = {
        "a": {"requires_dist": ["b[more]", "old; python_version < '3.12'", "arm; platform_machine == 'aarch64'"]},
        "b": {"requires_dist": ["extra-of-b; extra == 'more'", "not-asked; extra == 'other'"]},
    }

    def names(python: str, machine: str) -> set[str]:
        return {each.name for each in needed([Requirement("a")], resolved, Target(python, machine).environment)}

    assert names("3.11", "x86_64") == {"a", "b", "extra-of-b", "old"}
    assert names("3.14", "aarch64") == {"a", "b", "extra-of-b", "arm"}


@pytest.mark.parametrize(
    "expression",
    ["GPL-3.0-or-later", "AGPL-3.0-only", "MIT AND LGPL-3.0-only", "SSPL-1.0", "Proprietary", "", "MIT AND", "UNKNOWN"],
)
def test_licences_that_are_refused(expression: str) -> None:
    """Copyleft of the whole, uses restricted, and words that nobody knows are no accepted licences."""
    assert not is_accepted(expression)


def test_licences_that_are_accepted() -> None:
    """All in the table, with the expressions and older words that packages use."""
    assert all(map(is_accepted, ACCEPTED))
    assert is_accepted("BSD-3-Clause AND 0BSD AND MIT AND Zlib AND CC0-1.0")
    assert is_accepted("GPL-2.0-only OR Apache-2.0")
    assert is_accepted("License :: OSI Approved :: BSD License")


def test_silence_is_no_licence() -> None:
    """A component without a word of its licence is refused by name, as is one with a word too many."""
    said = {"license": {"id": "MIT"}}
    components: list[dict[str, Any]] = [
        {"name": "good", "version": "1", "licenses": [said]},
        {"name": "silent", "version": "2"},
        {"name": "double", "version": "3", "licenses": [said, {"expression": "GPL-3.0-only"}]},
    ]
    assert list(refused(components)) == ["silent 2: says nothing of its licence", "double 3: GPL-3.0-only"]


def test_what_was_skipped_was_not_looked_at() -> None:
    """An audit that skips packages, or names none, is no all-clear; ours is on no registry and does not count."""
    skipped = {"name": "a", "skip_reason": "not found"}
    own = {"name": "strandwatch", "skip_reason": "not found"}
    looked_at = {"name": "b", "version": "1", "vulns": []}
    ill = {"name": "c", "version": "2", "vulns": [{"id": "X-1", "fix_versions": ["2.1"]}]}
    assert read({"dependencies": [own, looked_at]}, "strandwatch") == Audit([], [])
    assert read({"dependencies": [own, looked_at, skipped]}, "strandwatch").untold == ["a"]
    assert read({"dependencies": [own]}, "strandwatch").untold == ["everything"]
    assert read({"dependencies": [ill, skipped]}, "strandwatch").known == ["c 2: X-1, mended in 2.1"]


@pytest.mark.parametrize(
    ("wrong", "found", "status"),
    [
        ([], Audit(), FINE),
        ([], Audit(untold=["a"]), NOT_ASKED),
        (["x"], Audit(untold=["a"]), FOUND),
        ([], Audit(known=["x"], untold=["a"]), FOUND),
    ],
)
def test_exit_status(wrong: list[str], found: Audit, status: int) -> None:
    """What was found counts first; not having been able to look is neither that nor an all-clear."""
    assert verdict(wrong, found) == status
