"""The lantern lived through by the simulated machine: as planned it jams, changed as advised it does not.

The machine ages its strands by its own law and tells nobody; plan and watch know the materials' limits alone.
"""

from functools import cache
from itertools import pairwise, zip_longest
from typing import NamedTuple

import pytest

from connectors.telemetry import Execution
from monitor.config import demo_profile
from monitor.core.alert_types import AlertTransition, Priority
from monitor.core.engine import run
from monitor.planning.forward_run import PERIOD_S
from monitor.planning.options import Changes, Option, cheapest
from tests.planned_builds import HOUR_S, Turn, lantern, layers
from tests.planned_nights import Moment, lantern_options, lived, moves_of, plan_of, simulated

PERIOD_4_S = 4.0
LAST_EMBER_S = 41_400.0
TURN_S = 300.0
BEFORE_S = 2 * PERIOD_S
COAL, CHALK, EMBER = 5, 4, 6
NAMES = ("as planned", "cheapest", "least risk")


@cache
def _option(name: str) -> Option:
    """The build as it is, or one that saves every strand."""
    tried = lantern_options()
    if name == "as planned":
        return tried[0]
    if name == "most set points":
        return max(tried, key=lambda option: (len(option.changes.set_points), len(option.changes.withdrawn_s)))
    found = cheapest(tried) if name == "cheapest" else min(filter(_is_safe, tried), key=_risk)
    assert found is not None
    return found


def _is_safe(option: Option) -> bool:
    return option.is_safe


def _risk(option: Option) -> tuple[float, float]:
    return option.risk, option.waste_g


@cache
def _night(name: str, seed: int = 1) -> tuple[Moment, ...]:
    return tuple(lived(simulated(lantern(), _option(name).changes), seed, PERIOD_4_S))


class Watched(NamedTuple):
    """What the watch told, and the doses that it saw by the build's time."""

    told: tuple[AlertTransition, ...]
    doses_min: dict[float, tuple[float, ...]]


@cache
def _watched(name: str) -> Watched:
    """The engine over the telemetry of a night; it sees nothing else."""
    night = _night(name)
    told: list[AlertTransition] = []
    doses_min: dict[float, tuple[float, ...]] = {}
    for moment, step in zip_longest(night, run((moment.sample for moment in night), demo_profile().parameters)):
        told += [change for change in step.transitions if not change.is_by_design]
        if moment is not None and moment.build_s % TURN_S > TURN_S - BEFORE_S:  # to look costs more than to go on
            doses_min.setdefault(moment.build_s, tuple(strand.dose_now_min for strand in step.assessment.strands))
    return Watched(tuple(told), doses_min)


def _told(name: str, condition: str, number: int) -> list[AlertTransition]:
    told = _watched(name).told
    return [change for change in told if (change.alert.condition, change.alert.input) == (condition, number)]


def _dose_min(name: str, build_s: float, number: int) -> float:
    """Dose of a strand at the first sample after a time of the build."""
    doses_min = _watched(name).doses_min
    return doses_min[min(at_s for at_s in doses_min if at_s >= build_s)][number - 1]


def _slip(night: tuple[Moment, ...], number: int) -> float:
    values = night[-1].sample.values
    return 1.0 - values[f"sensed_mm:{number}"] / (values[f"fed_mm:{number}"] or 1.0)


def test_moves_are_those_of_the_turns() -> None:
    """As long and as much in all as the turns they come from."""
    moves = list(moves_of([Turn(2, 300.0), Turn(1, 90.0, 0.5)]))

    assert sum(move.time_s for move in moves) == pytest.approx(390.0)
    assert [sum(move.length_mm for move in moves if move.input == number) for number in (2, 1)] == pytest.approx(
        [300.0, 45.0]
    )
    assert max(move.length_mm / move.time_s for move in moves) == 4.0


@pytest.mark.parametrize("seed", [1, 2])
def test_the_build_as_it_is_jams_ember_at_its_last_use(seed: int) -> None:
    """The one jam of the night: ember (6), when it is pushed after ten hours and a half; hardly any of it arrives."""
    night = _night("as planned", seed)
    first = next(moment for moment in night if moment.jammed)
    fed_mm, seen_mm = (
        night[-1].sample.values[name] - first.sample.values[name] for name in (f"fed_mm:{EMBER}", f"sensed_mm:{EMBER}")
    )

    assert night[-1].jammed == (EMBER,)
    assert LAST_EMBER_S <= first.build_s < LAST_EMBER_S + 60.0
    assert fed_mm > 800.0
    assert seen_mm < 0.3 * fed_mm


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("name", ["cheapest", "least risk"])
def test_changed_as_advised_nothing_jams(name: str, seed: int) -> None:
    """The build comes to its end, and of every strand in use all that was commanded arrives but for ordinary slip."""
    night = _night(name, seed)

    assert night[-1].jammed == ()
    assert night[-1].sample.execution is Execution.PROGRAM_COMPLETED
    assert max(_slip(night, number) for number in (1, 2, 3, COAL, EMBER)) < 0.03


@pytest.mark.parametrize("name", NAMES)
def test_coal_is_never_too_cold(name: str) -> None:
    """Whenever coal feeds, the manifold itself is at what coal needs: 188 °C."""
    feeding_c = [
        later.manifold_c
        for moment, later in pairwise(_night(name))
        if later.sample.values[f"fed_mm:{COAL}"] > moment.sample.values[f"fed_mm:{COAL}"]
    ]

    assert len(feeding_c) > 100
    assert min(feeding_c) >= 188.0


def test_at_a_manifold_that_is_too_cold_coal_skips_as_its_verdict_says() -> None:
    """A single set point of 180 °C: the plan says that coal cannot be fed; on the machine it loses a tenth."""
    turns = layers(0.5, 1, COAL)
    build = plan_of(turns, 180.0)
    verdict = build.tried("as planned", Changes()).verdicts[COAL - 1]
    night = tuple(lived(simulated(turns, build.single(180.0)), 1, PERIOD_4_S))

    assert "too cold to feed" in verdict.why
    assert _slip(night, COAL) > 0.08
    assert _slip(night, 1) < 0.03


def test_the_watch_raises_the_alarm_over_the_build_as_it_is() -> None:
    """Ember is told to be past its limit before its use, and to be jammed within two minutes of it."""
    past = [change for change in _told("as planned", "dose", EMBER) if "past its limit" in change.alert.text]
    jam = next(change for change in _told("as planned", "stall", EMBER) if change.event == "raised")
    jammed_s = next(moment.sample.time_s for moment in _night("as planned") if moment.jammed)

    assert past[0].time_s < jammed_s - 0.5 * HOUR_S
    assert past[0].alert.priority is Priority.ALARM
    assert jam.alert.priority is Priority.ALARM
    assert jammed_s <= jam.time_s < jammed_s + 120.0


@pytest.mark.parametrize("name", ["cheapest", "least risk"])
def test_the_watch_sees_neither_jam_nor_limit_in_the_changed_build(name: str) -> None:
    """No stall and no cold strand; of doses, ember may pass its warn dose before it is purged, never its limit."""
    told = _watched(name).told
    doses = [change.alert for change in told if change.alert.condition == "dose"]

    assert {change.alert.condition for change in told} <= {"dose", "standing"}
    assert {alert.input for alert in doses} <= {EMBER}
    assert all("past its limit" not in alert.text for alert in doses)


def test_the_build_changed_as_advised_wakes_nobody() -> None:
    """What the plan recommends is a night without a single ALARM, while the unchanged one has several."""
    alarms = {
        name: [change for change in _watched(name).told if change.calls and change.alert.priority is Priority.ALARM]
        for name in ("as planned", "cheapest")
    }

    assert alarms["cheapest"] == []
    assert {change.alert.condition for change in alarms["as planned"]} >= {"dose", "stall"}


@pytest.mark.parametrize("name", NAMES)
def test_the_plans_doses_are_those_the_watch_comes_to(name: str) -> None:
    """Before every use after an hour's stand, within 5 % and four minutes: the plan does not count the heating up."""
    strands = _option(name).run.strands
    uses = [(strand.input, use) for strand in strands for use in strand.uses if use.stood_s > HOUR_S]
    told = [use.dose_min for _, use in uses]
    seen = [_dose_min(name, use.start_s - BEFORE_S, number) for number, use in uses]

    assert [number for number, _ in uses] == [2, 3, COAL, EMBER]
    assert seen == [pytest.approx(dose_min, rel=0.05, abs=4.0) for dose_min in told]


def test_the_manifold_is_hot_as_early_as_planned() -> None:
    """Set points that rise are reached on the machine within a minute of what the plan says; it cools faster."""
    option, night = _option("most set points"), _night("most set points")
    rises = [after for before, after in pairwise(option.changes.set_points) if after.set_c > before.set_c]

    assert rises
    for point in rises:
        there_s = next(m.build_s for m in night if m.build_s > point.time_s and m.manifold_c >= point.set_c - 0.5)
        planned_s = next(
            float(at_s)
            for at_s, merge_c in zip(option.run.times_s, option.run.merge_c, strict=True)
            if at_s > point.time_s - 2 * PERIOD_S and merge_c >= point.set_c - 0.5
        )
        assert there_s < planned_s + 90.0
