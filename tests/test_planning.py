"""A planned build run forward: what comes of every strand, and what saves it. Builds and machine are invented."""

import io
from dataclasses import replace

import numpy as np
import pytest

from monitor.build_file import MotionSettings, read_build_file
from monitor.config import demo_profile
from monitor.core.engine import run
from monitor.core.parameters import Parameters
from monitor.planning.course import Advance, Change, feed_of, file_changes, samples, times_of, walls_of
from monitor.planning.forward_run import planned_model
from monitor.planning.options import Build, Changes, Option, cheapest, options
from monitor.planning.set_point_course import set_points
from monitor.planning.settings import PlanSettings
from monitor.planning.stretched import at_slow_end, slow_end, stretched
from monitor.planning.verdicts import Outcome
from tests.planned_builds import HOUR_S, Turn, lantern, layers, schedule_of

SETTINGS = PlanSettings(tool_sensors={9: "manifold"})


def _build(turns: list[Turn], manifold_c: float | None = 195.0, parameters: Parameters | None = None) -> Build:
    loaded = demo_profile().parameters if parameters is None else parameters
    schedule = schedule_of(turns, manifold_c)
    return Build(planned_model(loaded), schedule, SETTINGS, tuple(file_changes(schedule, loaded, SETTINGS)), "manifold")


def _outcomes(option: Option) -> dict[int, Outcome]:
    return {verdict.input: verdict.outcome for verdict in option.verdicts}


def test_a_build_that_uses_every_strand_often_survives() -> None:
    """Four hours in which each strand feeds every half hour: nothing to change."""
    build = _build(layers(4.0, 1, 2, 3, 4, 5, 6))
    tried = list(options(build, build.tried("as planned", Changes())))

    assert len(tried) == 1
    assert tried[0].is_safe
    assert set(_outcomes(tried[0]).values()) == {Outcome.SURVIVES}


@pytest.fixture(scope="module")
def lantern_options() -> list[Option]:
    """The twelve hours of six materials, and all that was tried to save them; reckoned once."""
    build = _build(lantern())
    return list(options(build, build.tried("as planned", Changes())))


def test_the_lantern_fails_as_it_is_and_is_saved(lantern_options: list[Option]) -> None:
    """Ember jams at its last use, chalk ages after its own; set points, a withdrawal and a purge save both."""
    as_planned, best = lantern_options[0], cheapest(lantern_options)

    assert (_outcomes(as_planned)[4], _outcomes(as_planned)[6]) == (Outcome.WITHDRAW, Outcome.LOST)
    assert "after 10:35 h standing" in as_planned.verdicts[5].why
    assert best is not None
    assert set(best.changes.withdrawn_s) == {4}
    assert best.waste_g < 1.0
    assert best.risk < as_planned.risk / 2


def test_changes_waste_and_risk_are_traded(lantern_options: list[Option]) -> None:
    """Among the safe options there is none that is best in set points, waste and risk at once: the owner sees all."""
    safe = [option for option in lantern_options if option.is_safe]
    costs = [(len(option.changes.set_points), option.waste_g, option.risk) for option in safe]
    least = tuple(min(part) for part in zip(*costs, strict=True))

    assert len(safe) >= 2
    assert least not in costs


def test_the_engine_itself_comes_to_the_same_dose() -> None:
    """The run's doses are those of the engine fed by 4 s samples of the same course, within 2 %."""
    build = _build(lantern())
    option = build.tried("as planned", Changes())
    *_, last = run(samples(build.course(Changes(), 4.0), build.model.parameters), build.model.parameters)
    doses = [strand.dose_now_min for strand in last.assessment.strands]

    assert [strand.dose_min[-1] for strand in option.run.strands] == pytest.approx(doses, rel=0.02, abs=0.5)


def test_a_strand_too_cold_to_feed_is_lost_from_its_first_use() -> None:
    """At 180 °C coal (188 °C) cannot be pushed; the verdict says where and what it needs."""
    build = _build(layers(1.0, 1, 5), manifold_c=180.0)
    verdict = build.tried("as planned", Changes()).verdicts[4]

    assert verdict.outcome is Outcome.LOST
    assert verdict.when_s == pytest.approx(300.0, abs=1.0)
    assert "the manifold is at 180 °C, it needs 188" in verdict.why


def test_a_strand_that_the_build_never_feeds_need_not_be_loaded() -> None:
    """Input 6 only stands there, all night; it counts as no risk of the build."""
    option = _build(layers(12.0, 1, 2)).tried("as planned", Changes())

    assert _outcomes(option)[6] is Outcome.UNUSED
    assert "leave it unloaded; loaded, it would pass its limit" in option.verdicts[5].why
    assert option.is_safe


def test_what_is_purged_or_kept_moving_survives() -> None:
    """A strand past its warn dose before a use is saved by a purge of its aged length, or by small moves before."""
    hours = layers(8.0, 1, 2)
    build = _build([Turn(6, 300.0), *hours, Turn(6, 300.0)], manifold_c=190.0)
    single = build.tried("190", build.single(190.0))
    (purge,) = single.verdicts[5].purges
    purged = build.tried(
        "purged", replace(single.changes, advances=(Advance(purge.time_s - 180.0, 6, purge.length_mm),))
    )

    assert single.verdicts[5].outcome is Outcome.PURGE
    assert 10.0 < purge.length_mm < 40.0
    assert purged.verdicts[5].outcome is Outcome.SURVIVES
    assert purged.waste_g > 0.0


def test_the_manifold_is_hot_before_what_needs_it_and_cool_meanwhile() -> None:
    """The set points of the lantern: hottest in the seventh hour, and reached when coal begins."""
    build = _build(lantern())
    times_s = times_of(build.schedule, 16.0)
    points = set_points(build.model, build.schedule, times_s, "manifold", SETTINGS, 2400.0)
    walls_c = walls_of(points, build.model.parameters, SETTINGS, times_s)
    manifold_c = walls_c[:, build.model.parameters.sensors.index("manifold")]
    in_seventh = (times_s >= 6 * HOUR_S) & (times_s < 7 * HOUR_S)

    assert manifold_c[in_seventh].min() >= 188.0
    assert manifold_c[(times_s > 8.0 * HOUR_S) & (times_s < 11.0 * HOUR_S)].max() < 182.0
    assert all(point.set_c >= 172.0 for point in points)


@pytest.mark.parametrize("shortest_s", [600.0, 2400.0, 7200.0])
def test_set_points_never_leave_a_strand_cold(shortest_s: float) -> None:
    """However many set points: no strand is ever too cold to feed with the block's own rates."""
    build = _build(lantern())
    times_s = times_of(build.schedule, 16.0)
    points = tuple(set_points(build.model, build.schedule, times_s, "manifold", SETTINGS, shortest_s))
    option = build.tried("points", Changes(set_points=points))

    assert all("too cold" not in verdict.why for verdict in option.verdicts)


def test_walls_follow_their_set_points_at_the_blocks_rates() -> None:
    """Up at 0.4 K/s, down at 0.05 K/s, hot at the start, and a change on the way counts from where it is."""
    parameters = demo_profile().parameters
    changes = [Change(0.0, "manifold", 190.0), Change(1000.0, "manifold", 180.0), Change(1100.0, "manifold", 200.0)]
    times_s = np.arange(0.0, 2000.0, 10.0)
    manifold_c = walls_of(changes, parameters, SETTINGS, times_s)[:, parameters.sensors.index("manifold")]

    assert manifold_c[0] == 190.0
    assert manifold_c[times_s == 1100.0] == pytest.approx(185.0)
    assert manifold_c[times_s == 1120.0] == pytest.approx(193.0)
    assert manifold_c[-1] == 200.0


def test_what_the_file_heats_before_it_feeds_is_hot_then() -> None:
    """The manifold set while the nozzle is waited for: hot at the first feed; a wait in the build ends hot as well."""
    text = "M109 S225\nM104 T9 S150\nG4 S100\nM104 T9 S195\nM83\nT0\nG1 E600 F60\nM109 T9 S205\nT1\nG1 E300 F60\n"
    schedule = read_build_file(io.BytesIO(text.encode()), MotionSettings(inputs=6))
    parameters = demo_profile().parameters
    build = Build(
        planned_model(parameters), schedule, SETTINGS, tuple(file_changes(schedule, parameters, SETTINGS)), "manifold"
    )
    walls_c = build.course(Changes(), 1.0).walls_c[:, parameters.sensors.index("manifold")]

    assert walls_c[0] == 195.0
    assert schedule.inputs[0].first_s > 60.0
    assert walls_c[int(schedule.inputs[1].first_s) + 1] == 205.0


def test_feed_is_what_the_file_asks_for() -> None:
    """At every time the strand is where the file has put it: 1 mm/s within its turns."""
    parameters, schedule = (
        demo_profile().parameters,
        schedule_of([Turn(2, 300.0), Turn(1, 600.0), Turn(2, 300.0)], 195.0),
    )
    times_s = np.arange(0.0, 1300.0, 1.0)
    fed_mm = feed_of(schedule, parameters, times_s)[:, 1]

    assert fed_mm[[0, 150, 300, 600, 900, 1050, 1200]] == pytest.approx([0, 150, 300, 300, 300, 450, 600], abs=0.1)


def test_a_hot_liner_is_told_whatever_the_strands_do() -> None:
    """A set point beyond the liner's first limit is a fault of the plan."""
    option = _build(layers(1.0, 1, 2), manifold_c=262.0).tried("as planned", Changes())

    assert any("the liner in heat break" in fault for fault in option.faults)
    assert not option.is_safe


def test_a_build_that_takes_longer_ages_its_strands_more() -> None:
    """At the slow end of the range, 1.6 times as long without known accelerations, strands have more dose."""
    build = _build([*layers(6.0, 1, 2), Turn(6, 300.0)], manifold_c=190.0)
    planned = build.tried("as planned", Changes())
    slow = at_slow_end(build, planned)

    assert slow_end(build.schedule) == pytest.approx(1.6)
    assert slow.run.times_s[-1] == pytest.approx(1.6 * planned.run.times_s[-1], rel=0.01)
    assert slow.verdicts[5].share == pytest.approx(1.6 * planned.verdicts[5].share, rel=0.05)


def test_a_schedule_is_stretched_as_a_whole() -> None:
    """Feed stays, every time grows: stretches, gaps, set points, marks and duration; nothing else changes."""
    schedule = schedule_of([Turn(2, 300.0), Turn(1, 600.0), Turn(2, 300.0)], 195.0)
    slower, plan = stretched(schedule, 2.0), schedule.of_input(2)
    same = slower.of_input(2)

    assert plan is not None
    assert same is not None
    assert (same.new_mm, same.gap_s) == (plan.new_mm, 2.0 * plan.gap_s)
    assert slower.duration.planned_s == 2.0 * schedule.duration.planned_s
    assert slower.marks.time_at(schedule.bytes) == 2.0 * schedule.marks.time_at(schedule.bytes)
    with pytest.raises(ValueError, match="above 0"):
        stretched(schedule, 0.0)
