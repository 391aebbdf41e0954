"""The check of a load without a build: set points, bounds, idle times, pairs, against the engine and by hand."""

from dataclasses import replace

import numpy as np
import pytest

from monitor.config import demo_profile
from monitor.core.engine_state import build_model
from monitor.core.parameters import Parameters, Strand
from monitor.materials.known import package_materials
from monitor.plan_pages.load_out_words import LoadOutWords
from monitor.plan_pages.report import Report
from monitor.planning.load_out import LoadOut, load_out, purge_mm
from monitor.planning.settings import PlanSettings

SETTINGS = PlanSettings(cold_end_c=37.0)


def _with(*names: str) -> Parameters:
    table = package_materials()
    strands = tuple(Strand(number, table.material(name)) for number, name in enumerate(names, 1))
    return replace(demo_profile().parameters, strands=strands)


def _text(found: LoadOut, parameters: Parameters, width: int = 80) -> str:
    return "\n".join(Report(width).lines(LoadOutWords(found, parameters, is_list=True).blocks()))


def test_all_of_the_demo_can_share_its_path() -> None:
    """Coal needs most, 188 °C and 2 K for the regulator's swing; chalk bears least, 230 °C."""
    found = load_out(demo_profile().parameters, SETTINGS)

    assert found.all.works
    assert (found.all.set_c, found.all.needed_by) == (190.0, 5)
    assert (found.all.bound.most_c, found.all.bound.input) == (230.0, 4)
    assert found.largest is found.all
    assert len(found.pairs) == 15


def test_idle_times_are_the_engines_own() -> None:
    """Fresh strands held at 190 °C in the engine's field reach their warn dose when reckoned, within 1 %."""
    parameters = demo_profile().parameters
    model = build_model(parameters)
    walls_c = np.array([25.0, 37.0, 190.0, 225.0])
    still = [0.0] * len(parameters.strands)
    for place, idle in enumerate(load_out(parameters, SETTINGS).all.idle):
        field = model.field.initial(walls_c)
        for _ in range(200):
            field = model.field.advance(field, idle.warn_s.low / 200, walls_c, still)
        dose_min = model.field.oldest_min(field)[place]
        assert dose_min == pytest.approx(parameters.strands[place].material.warn_min, rel=0.01)


def test_idle_times_are_ranges() -> None:
    """The hopeful end is never before the cautious one, nor the limit before the warn dose."""
    for idle in load_out(_with("PETG", "PP", "ABS"), SETTINGS).all.idle:
        assert 0.0 < idle.warn_s.low <= idle.warn_s.high
        assert idle.warn_s.low < idle.limit_s.low <= idle.limit_s.high


def test_a_liner_bounds_the_manifold() -> None:
    """The heat break ends at the manifold's own temperature, and its liner's first limit is 240 °C."""
    parameters = _with("PC", "PETG")
    found = load_out(parameters, SETTINGS)

    assert parameters.liners["PTFE"].warn_c == 240.0
    assert not found.all.works
    assert (found.all.bound.most_c, found.all.bound.liner) == (240.0, "heat break")
    assert found.all.idle == ()
    assert "240 °C is the first limit of the liner in heat break" in _text(found, parameters).replace("\n", " ")


def test_the_most_that_can_share_are_found() -> None:
    """PC cannot in this path and TPU ends at 220 °C; the others can, at the lowest that suits them."""
    found = load_out(_with("PC", "PETG", "TPU", "PLA"), SETTINGS)

    assert found.largest is not None
    assert found.largest.inputs == (2, 3, 4)
    assert found.largest.set_c == 202.0
    assert [pair.inputs for pair in found.pairs if not pair.works] == [(1, 2), (1, 3), (1, 4)]


def test_nothing_can_feed_at_all() -> None:
    """Where even one alone needs more than its path allows, that is said."""
    parameters = _with("PC")
    found = load_out(parameters, SETTINGS)

    assert found.largest is None
    assert found.pairs == ()
    assert "Nothing can feed in this hot path." in _text(found, parameters)


def test_the_purge_is_the_volume_from_the_merge_point_on() -> None:
    """18 mm of a bore of 2 mm hold as much as 18 · (2 / 1.75)² = 23.5 mm of strand."""
    assert purge_mm(demo_profile().parameters) == pytest.approx(23.51, abs=0.01)
    told = _text(load_out(_with("PETG"), SETTINGS), _with("PETG")).replace("\n", " ")
    assert "holds 24 mm of strand" in told
    assert "more than a metre is common after a full change of the path (common practice, no source)" in told


@pytest.mark.parametrize("width", [60, 80, 120])
def test_no_line_is_wider_than_asked_for(width: int) -> None:
    """Ten materials make a matrix that is cut in two."""
    names = ("PETG", "PLA", "PA6", "PC", "TPU", "ABS", "ASA", "PP", "demo-coal", "demo-ember")
    parameters = _with(*names)
    lines = _text(load_out(parameters, SETTINGS), parameters, width).splitlines()

    assert max(map(len, lines)) <= width
    assert any("cannot" in line for line in lines)
