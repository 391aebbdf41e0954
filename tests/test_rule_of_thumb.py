"""How the rule of thumb for the coldest manifold that a strand feeds at stands against what the trade knows.

The rule (`monitor/materials/checks.py`): the melting temperature as the engine uses it for a semi-crystalline polymer,
90 K above the high end of the glass transition for an amorphous one. The facts are common practice, no source: walls of
a heated manifold at which strands were found to feed. A rule above the fact warns too early, one below it too late.
"""

from pathlib import Path
from typing import NamedTuple

import pytest

from monitor.core.parameters import Material
from monitor.materials.known import load_materials


class Fact(NamedTuple):
    """What is known of one kind of strand.

    `low_c` to `high_c` is the wall at which it feeds, `rule_c` what the package takes, `off_k` how far that lies
    outside the range, `why` the reason where that is more than `NEAR_K`.
    """

    material: str
    kind: str
    low_c: float
    high_c: float
    rule_c: float
    off_k: float
    why: str = ""


NEAR_K = 25.0

FACTS = (
    Fact("PLA", "plain", 155, 160, 180, +20),
    Fact("PLA-HT", "composites, high-temperature grades", 180, 190, 180, 0),
    Fact("PETG", "plain", 180, 185, 200, +15),
    Fact("ABS", "plain", 190, 190, 210, +20),
    Fact("PC-ABS", "plain", 180, 215, 235, +20),
    Fact("PA6-CF", "carbon-filled PA6", 220, 220, 230, +10),
    Fact(
        "PC", "flame-retardant", 210, 210, 239, +29,
        "what makes it flame-retardant also softens it (from memory: some phosphates lower the glass transition by tens"
        " of K), while the data are those of the neat polymer",
    ),
    Fact("PVA", "plain", 185, 185, 190, +5),
    Fact("PP", "plain; 160 or less", 160, 160, 170, +10),
)  # fmt: skip

FLEXIBLE = Fact(
    "TPU", "flexible; up to its own nozzle temperature", 180, 220, 180, 0,
    "what hinders it is no melting point: a soft strand buckles before a cool, stiff melt moves, so that it may need"
    " the whole processing range; the one number judged for it is the range's low end and may warn 40 K too late",
)  # fmt: skip
"""Here the range is that of its processing, for the trade gives no number."""


@pytest.fixture(autouse=True)
def no_own_materials(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The materials of whoever runs the tests stay out of them."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))


def _material(fact: Fact) -> Material:
    return load_materials().material(fact.material)


def _off_k(fact: Fact) -> float:
    """How far the package's number lies above the range known, below it negative."""
    feeds_c = _material(fact).min_feed_c
    return max(feeds_c - fact.high_c, 0.0) + min(feeds_c - fact.low_c, 0.0)


@pytest.mark.parametrize("fact", [*FACTS, FLEXIBLE], ids=lambda fact: fact.material)
def test_the_table_above_is_what_the_package_does(fact: Fact) -> None:
    """Common practice, no source: rule and distance are those that stand in the table."""
    assert _material(fact).min_feed_is_rule
    assert _material(fact).min_feed_c == fact.rule_c
    assert _off_k(fact) == fact.off_k


def test_all_but_one_lie_near() -> None:
    """Common practice, no source: within 25 K of what is known for all but flame-retardant PC, with the reason."""
    far = {fact.material: fact.why for fact in FACTS if abs(_off_k(fact)) > NEAR_K}

    assert list(far) == ["PC"]
    assert all(far.values())


def test_the_rule_errs_to_the_early_side() -> None:
    """Common practice, no source: nothing known to be too cold to feed is called warm enough, by 10 K at the most.

    The 10 K are those of the high-temperature variants at the top of their range; flexible strands are no case for it.
    """
    too_late_k = {fact.material: fact.high_c - _material(fact).min_feed_c for fact in FACTS}

    assert {material for material, late_k in too_late_k.items() if late_k > 0.0} == {"PLA-HT"}
    assert too_late_k["PLA-HT"] == 10.0


def test_a_flexible_strand_has_no_rule() -> None:
    """Common practice, no source: TPU may need all of its processing range, so one judged number cannot be near."""
    material, record = _material(FLEXIBLE), load_materials().record(FLEXIBLE.material)
    process = getattr(record, "process_c", None)

    assert process is not None
    assert (process.low, process.high) == (FLEXIBLE.low_c, FLEXIBLE.high_c)
    assert material.melt_c is not None
    assert material.min_feed_c != material.melt_c  # judged, not the rule
    assert FLEXIBLE.high_c - material.min_feed_c > NEAR_K
    assert FLEXIBLE.why
