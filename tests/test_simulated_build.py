"""The simulated machine with a planned build: its order, its set points, and strands that age by its own law."""

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

import pytest

from connectors.errors import SettingsError
from connectors.simulated_ageing import AGE_LAWS, LUMP_MM, SPREAD, STATED_C, AgeLaw, StrandAge
from connectors.simulated_build import (
    ADVANCED_MM_S,
    WITHDRAWN_MM,
    Advance,
    Move,
    SetPoint,
    SimulatedBuild,
    Withdrawal,
    carried_out,
    delayed_set_points,
)
from connectors.simulated_machine import SimulatedMachine, chance
from connectors.simulated_scenarios import INPUTS, SCENARIOS, Scenario
from connectors.telemetry import Execution

TWO = (Move(1, 100.0, 50.0), Move(1, 0.0, 10.0), Move(2, 60.0, 60.0))
PLAIN = SimulatedBuild(TWO, (SetPoint(0.0, 195.0),))
QUICK = AgeLaw(0.2, 10.0)


def _night(build: SimulatedBuild) -> Scenario:
    return Scenario("planned", "Planned", "It is planned.", duration_s=20_000.0, planned=build)


def _machine(build: SimulatedBuild, seed: int = 1, *, until_s: float = 20_000.0) -> SimulatedMachine:
    """The machine at the end of its build, or after so much of it."""
    machine = SimulatedMachine(_night(build), seed)
    while machine.execution is not Execution.PROGRAM_COMPLETED and machine.build_s < until_s:
        machine.step(1.0)
    return machine


def test_without_changes_a_build_is_carried_out_as_it_is() -> None:
    """The same moves, and the strands are where they put them."""
    machine = _machine(PLAIN)

    assert tuple(carried_out(PLAIN)) == TWO
    assert [machine.feeds[number].commanded_mm for number in (1, 2, 3)] == pytest.approx([100.0, 60.0, 0.0])


def test_what_is_put_in_between_interrupts_a_move_and_delays_what_follows() -> None:
    """An advance at 20 s parts the first move; length and time of all moves are kept, its own come on top."""
    build = replace(PLAIN, advances=(Advance(20.0, 6, 10.0),), withdrawals=(Withdrawal(55.0, 1),))
    moves = list(carried_out(build))

    assert moves[:3] == [Move(1, 40.0, 20.0), Move(6, 10.0, 10.0 / ADVANCED_MM_S), Move(1, 60.0, 30.0)]
    assert moves[4] == Move(1, -WITHDRAWN_MM, 9.0)
    assert build.length_s == pytest.approx(120.0 + 5.0 + 9.0)
    assert sum(move.length_mm for move in moves if move.input == 1) == pytest.approx(100.0 - WITHDRAWN_MM)


def test_set_points_keep_their_place_in_the_build() -> None:
    """One that follows an advance is as much later as the advance takes; one before it is not."""
    build = replace(PLAIN, advances=(Advance(20.0, 6, 10.0),), set_points=(SetPoint(0.0, 190.0), SetPoint(60.0, 180.0)))
    machine = _machine(build, until_s=64.0)
    before_c = machine.heat.set_c[0]
    machine.step(1.0)
    machine.step(1.0)

    assert delayed_set_points(build) == (SetPoint(0.0, 190.0), SetPoint(65.0, 180.0))
    assert (before_c, machine.heat.set_c[0]) == (190.0, 180.0)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"set_points": ()}, "set points"),
        ({"set_points": (SetPoint(9.0, 190.0), SetPoint(1.0, 180.0))}, "order"),
        ({"advances": (Advance(-1.0, 6, 10.0),)}, "0 s or more"),
        ({"withdrawals": (Withdrawal(float("nan"), 1),)}, "0 s or more"),
        ({"withdrawals": (Withdrawal(30.0, 1),)}, "input 1 is fed after"),
    ],
)
def test_a_build_that_cannot_be_is_refused(changes: dict[str, Any], words: str) -> None:
    """What is wrong is told in words."""
    with pytest.raises(SettingsError, match=words):
        replace(PLAIN, **changes)


def test_ageing_doubles_by_its_kelvins_and_new_strand_renews_it() -> None:
    """An hour at the stated temperature is an hour; 10 K more, at a law of 10 K, is two; a lump's length leaves 1/e."""
    age = StrandAge(AgeLaw(5.0, 10.0), chance(1, "age"))
    age.stand(3600.0, STATED_C)
    age.stand(3600.0, STATED_C + 10.0)
    aged_h = age.age_h
    age.renew(LUMP_MM)

    assert aged_h == pytest.approx(3.0)
    assert age.age_h == pytest.approx(3.0 * 0.36788, rel=1e-4)
    assert not age.is_beyond


def test_lots_differ_within_the_spread() -> None:
    """Each seed has its own times to jam, none further from the law's than the spread."""
    jams_h = [_fresh(seed).ages[6].jams_at_h / AGE_LAWS[6].jams_h for seed in range(40)]

    assert len(set(jams_h)) == len(jams_h)
    assert max(abs(share - 1.0) for share in jams_h) <= SPREAD
    assert max(jams_h) - min(jams_h) > SPREAD


def _fresh(seed: int) -> SimulatedMachine:
    return SimulatedMachine(_night(PLAIN), seed)


def _stood(changes: Mapping[str, Any] = MappingProxyType({})) -> SimulatedBuild:
    """Strand 2 feeds, stands for half an hour while 1 feeds, and feeds again: beyond its age."""
    moves = (Move(2, 60.0, 60.0), Move(1, 900.0, 1800.0), Move(2, 60.0, 60.0))
    build = SimulatedBuild(moves, (SetPoint(0.0, 195.0),), age_laws={2: QUICK})
    return replace(build, **changes)


def test_a_strand_that_stood_too_long_jams_when_it_is_pushed() -> None:
    """It skips in its last turn, and not before; what little gets through is less than half."""
    early, late = _machine(_stood(), until_s=1800.0), _machine(_stood())

    assert early.jammed_s == {}
    assert early.ages[2].is_beyond
    assert list(late.jammed_s) == [2]
    assert late.feeds[2].commanded_mm == pytest.approx(120.0)
    assert 60.0 < late.feeds[2].encoder_mm() < 90.0


@pytest.mark.parametrize(
    "changes",
    [
        {"set_points": (SetPoint(0.0, 180.0),)},
        {"advances": (Advance(600.0, 2, 40.0), Advance(1200.0, 2, 40.0))},
        {"age_laws": {}},
    ],
    ids=["cooler", "kept moving", "without ageing"],
)
def test_cooler_or_kept_moving_it_does_not_jam(changes: dict[str, Any]) -> None:
    """The same build with half an hour at 180 °C, or with moves in between, is pushed to its end."""
    machine = _machine(_stood(changes))

    assert machine.jammed_s == {}
    assert machine.feeds[2].encoder_mm() > 0.97 * machine.feeds[2].commanded_mm


def test_withdrawn_it_does_not_age_any_more() -> None:
    """Drawn out of the heat after ten minutes, its age stays what it was then."""
    build = SimulatedBuild((TWO[0], Move(1, 600.0, 1200.0)), (SetPoint(0.0, 195.0),), (Withdrawal(600.0, 2),))
    machine, kept = _machine(build), _machine(replace(build, withdrawals=()))

    assert not machine.feeds[2].is_in_heat
    assert 0.0 < machine.ages[2].age_h < kept.ages[2].age_h - 0.1


def test_a_strand_skips_in_a_manifold_that_is_too_cold_for_it() -> None:
    """Coal at 4 mm/s loses a good part at 180 °C, nothing at 190; amber is well at both."""
    moves = (Move(5, 400.0, 100.0), Move(1, 400.0, 100.0))
    colder, hotter = (_machine(SimulatedBuild(moves, (SetPoint(0.0, set_c),))) for set_c in (180.0, 190.0))

    def slip(machine: SimulatedMachine, number: int) -> float:
        return 1.0 - machine.feeds[number].encoder_mm() / machine.feeds[number].commanded_mm

    assert slip(colder, 5) > 0.15
    assert max(slip(hotter, 5), slip(hotter, 1), slip(colder, 1)) < 0.03


def test_the_nights_of_the_demo_do_not_age() -> None:
    """Where no build is planned, nothing jams by itself."""
    for scenario in SCENARIOS.values():
        assert SimulatedMachine(scenario, 1).ages == {}
    assert set(AGE_LAWS) == set(INPUTS)
