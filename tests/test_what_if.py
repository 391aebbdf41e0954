"""What a recording would have come to: changed events against simulated nights, and the report."""

from collections.abc import Iterator
from functools import cache
from itertools import takewhile
from pathlib import Path

import numpy as np
import pytest

from connectors.simulated_machine import simulate
from connectors.simulated_scenarios import SCENARIOS
from connectors.telemetry import Execution, Sample
from monitor.cli import main
from monitor.config import demo_profile
from monitor.core.alert_types import Priority
from monitor.planning.settings import PlanSettings
from monitor.what_if.changes import Advance, Manifold, with_advance, with_manifold
from monitor.what_if.outcome import Outcome, outcome_of
from monitor.what_if.report import first_difference, report_lines
from tests.machines import GREY, machine

LEFT_IDLE = Path(__file__).parent.parent / "replays" / "left-idle.jsonl.zst"
SETTINGS = PlanSettings(heats_k_s=0.5, cools_k_s=0.1)
AMBIENT_C = 25.0


def steady(hours: float, manifold_c: float, fed_mm: float = 0.0, fed_from_s: float = 0.0) -> Iterator[Sample]:
    """A strand that stands at a steady wall, and may be fed once."""
    for time_s in np.arange(4.0, hours * 3600.0, 4.0).tolist():
        values = {"temp_c:cold_end": 32.0, "temp_c:manifold": manifold_c, "temp_c:nozzle": 225.0}
        fed = {"fed_mm:1": 100.0 + (fed_mm if time_s >= fed_from_s else 0.0)}
        yield Sample(time_s, {**values, "set_c:manifold": manifold_c, "duty:manifold": 0.3, **fed}, Execution.ACTIVE)


def walls_c(events: Iterator[Sample], change: Manifold) -> dict[float, float]:
    changed = with_manifold(events, change, ["manifold"], SETTINGS, AMBIENT_C)
    return {event.time_s: event.values["temp_c:manifold"] for event in changed if isinstance(event, Sample)}


def test_a_wall_runs_to_its_other_set_point_at_the_rates_of_the_settings() -> None:
    """Upwards half a kelvin a second, downwards a tenth, then it stays; before the time nothing differs."""
    up = walls_c(steady(1.0, 195.0), Manifold(215.0, 1800.0))
    assert [up[time_s] for time_s in (1796.0, 1804.0, 1820.0, 1840.0, 3000.0)] == [195.0, 197.0, 205.0, 215.0, 215.0]
    down = walls_c(steady(1.0, 195.0), Manifold(175.0, 1800.0))
    assert [down[time_s] for time_s in (1796.0, 1900.0, 2000.0, 3000.0)] == pytest.approx([195.0, 185.0, 175.0, 175.0])


def test_what_belongs_to_the_old_temperature_goes_with_it() -> None:
    """The set point is the other one, the duty is left out; nothing else is touched."""
    before, after = (
        list(with_manifold(steady(0.1, 195.0), Manifold(180.0, from_s), ["manifold"], SETTINGS, AMBIENT_C))[-1]
        for from_s in (1e9, 100.0)
    )
    assert isinstance(before, Sample)
    assert isinstance(after, Sample)
    assert after.values["set_c:manifold"] == 180.0
    gone = dict(before.values)
    assert gone.pop("duty:manifold") == 0.3
    assert {**gone, "set_c:manifold": 180.0, "temp_c:manifold": after.values["temp_c:manifold"]} == after.values


def test_a_heater_that_was_off_stays_off_and_nothing_falls_below_ambient() -> None:
    """The other wall comes to where the recorded one is; a cold machine is not cooled."""
    off = [Sample(4.0 * at, {"temp_c:manifold": 26.0, "set_c:manifold": 0.0}) for at in range(1, 500)]
    assert set(walls_c(iter(off), Manifold(150.0)).values()) == {26.0}
    on_then_off = [
        Sample(4.0 * at, {"temp_c:manifold": 195.0 if at < 500 else 60.0, "set_c:manifold": 195.0 * (at < 500)})
        for at in range(1, 1500)
    ]
    walls = list(walls_c(iter(on_then_off), Manifold(150.0)).values())
    assert walls[400] == pytest.approx(150.0)
    assert walls[-1] == pytest.approx(60.0)
    assert min(walls) >= AMBIENT_C


def test_without_recorded_set_points_the_wall_of_that_time_stands_for_them() -> None:
    """A machine that tells temperatures alone is shifted by the difference from what it was then."""
    bare = (Sample(4.0 * at, {"temp_c:manifold": 195.0 + 0.3 * (at % 2)}) for at in range(1, 600))
    walls = walls_c(bare, Manifold(185.0, 1200.0))
    assert walls[1196.0] == pytest.approx(195.3)
    assert list(walls.values())[-4:] == pytest.approx([185.0, 185.3, 185.0, 185.3], abs=0.31)


def _night(name: str) -> list[Sample]:
    events = takewhile(lambda event: event.time_s < 3.2 * 3600, simulate(SCENARIOS[name], period_s=4.0))
    return [event for event in events if isinstance(event, Sample)]


@cache
def nights() -> tuple[tuple[Sample, ...], tuple[Sample, ...]]:
    """A healthy night, and the same night with the manifold set to 170 °C two and a half hours into it."""
    return tuple(_night("healthy-night")), tuple(_night("cold-manifold"))


def test_a_healthy_night_changed_is_the_simulated_night_that_was_set_so() -> None:
    """Against the simulated machine, which knows nothing of the rule: once settled, walls agree within half a kelvin.

    The way there differs: the machine cools as fast as its own plant does, the other wall as the settings say.
    """
    healthy, cold = nights()
    changed = list(
        with_manifold(iter(healthy), Manifold(170.0, 9000.0), ["manifold"], demo_profile().planning, AMBIENT_C)
    )
    settled = [(a, b) for a, b in zip(changed, cold, strict=True) if b.time_s > 9700.0]
    assert len(settled) > 400
    off_k = [a.values["temp_c:manifold"] - b.values["temp_c:manifold"] for a, b in settled if isinstance(a, Sample)]
    assert max(map(abs, off_k)) < 0.5
    assert [a for a, b in zip(changed, healthy, strict=True) if b.time_s < 9000.0 and a != b] == []


def test_the_alert_of_the_cold_night_is_foretold_of_the_healthy_one() -> None:
    """Too cold to feed: the what-if warns of it within ten minutes of when the simulated cold night does."""
    healthy, cold = nights()
    parameters = demo_profile().parameters
    changed = with_manifold(iter(healthy), Manifold(170.0, 9000.0), ["manifold"], demo_profile().planning, AMBIENT_C)
    times = []
    for events in (iter(cold), changed):
        alerts = outcome_of(events, parameters).alerts.values()
        times.append(min(alert.time_s for alert in alerts if "too cold to feed" in alert.words))
    assert times[0] <= times[1] < times[0] + 600.0


def test_a_hotter_wall_ages_by_arrhenius() -> None:
    """Ten kelvin more for a standing strand: its dose grows as Arrhenius' law says.

    Source: S. Arrhenius, Z. Phys. Chem. 4 (1889) 226, in its usual form exp(-Ea / (R T)), from memory.
    """
    parameters = machine()
    then = outcome_of(steady(3.0, 195.0), parameters)
    hotter = outcome_of(with_manifold(steady(3.0, 195.0), Manifold(205.0), ["manifold"], SETTINGS, 25.0), parameters)
    grown = np.exp(GREY.ea_below_kj_mol / 8.314462618e-3 * (1 / (195.0 + 273.15) - 1 / (205.0 + 273.15)))
    assert hotter.strands[1].worst_share / then.strands[1].worst_share == pytest.approx(float(grown), rel=0.02)


def test_an_advance_is_the_same_as_having_fed() -> None:
    """Changed events are those of a machine that fed at that time; the dose falls behind the mark it had passed."""
    fed = list(steady(1.0, 195.0, fed_mm=40.0, fed_from_s=2000.0))
    changed = list(with_advance(steady(1.0, 195.0), Advance(1, 40.0, 2000.0)))
    assert changed == fed


@cache
def outcomes() -> tuple[Outcome, Outcome]:
    """Four hours and a half at 215 °C: standing all along, and with 40 mm advanced before the warn dose was reached."""
    parameters = machine()
    events = with_advance(steady(4.5, 215.0), Advance(1, 40.0, 2.4 * 3600.0))
    return outcome_of(steady(4.5, 215.0), parameters), outcome_of(events, parameters)


def test_both_outcomes_stand_side_by_side() -> None:
    """Worst dose, when marks were passed, alerts on each side, the first difference; times are those of the run."""
    then, otherwise = outcomes()
    strand = then.strands[1]
    assert strand.limit_s is not None
    assert otherwise.strands[1].limit_s is None
    lines = list(report_lines(then, otherwise, ["what is not known"]))
    row = next(line for line in lines if line.startswith(" 1 test-grey"))
    assert f"{strand.worst_share:.0%}" in row
    assert row.endswith("never")
    told = [line.split()[0] for line in lines if "input 1, aged material" in line and line[0].isupper()]
    assert told == ["WARNING", "ALARM"]
    assert any(line.startswith("ALARM") and "never" in line for line in lines)
    assert lines[-1] == "  what is not known"
    assert then.has_alarm
    assert "input 1, aged material" not in {alert.words for alert in otherwise.alerts.values()}


def test_the_first_difference_is_the_earliest_change_that_only_one_side_knows() -> None:
    """Turned round it is the same moment of the other side; without any, it is told whether doses differ."""
    then, otherwise = outcomes()
    told, back = first_difference(then, otherwise), first_difference(otherwise, then)
    assert told.endswith("then: WARNING raised: input 1, aged material; not so what if")
    assert back.endswith("what if: WARNING raised: input 1, aged material; not so then")
    assert told.split()[0] == back.split()[0]
    assert first_difference(then, then) == "none, in alerts or in doses"
    warmer = outcome_of(steady(0.3, 196.0), machine())
    cooler = outcome_of(steady(0.3, 195.0), machine())
    assert first_difference(warmer, cooler) == "none in the alerts; doses differ"


def test_the_times_of_an_outcome_are_the_first_of_each_priority() -> None:
    """A later escalation of the same priority does not count again."""
    then, _ = outcomes()
    first = dict[Priority, float]()
    for mark, _ in then.changes:
        first.setdefault(Priority[mark.facts[2]], mark.time_s)
    assert {priority: alert.time_s for (_, priority), alert in then.alerts.items()} == first


def told_by(words: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    assert main(["replay", str(LEFT_IDLE), *words]) == 0
    return capsys.readouterr().out


def test_a_cooler_manifold_would_have_saved_the_strand_and_starved_another(capsys: pytest.CaptureFixture[str]) -> None:
    """The recorded night: input 4 stays below its warn dose, but input 2 is too cold to feed; the limits are said."""
    told = told_by(["--what-if-manifold", "180", "--from", "2:00"], capsys)
    row = next(line for line in told.splitlines() if line.startswith(" 4 chalk"))
    assert row.split()[-4:] == ["04:27:24", "never", "06:33:44", "never"]
    assert "the manifold set to 180 °C from 02:00:00 on" in told
    assert any("too cold to feed" in line and line.split()[1] == "never" for line in told.splitlines())
    for limit in ("feed is as it was", "cooling is as it was", "a strand that jammed then", "heater duty"):
        assert limit in told


def test_an_advance_in_time_would_have_kept_the_strand_below_its_limit(capsys: pytest.CaptureFixture[str]) -> None:
    """What the alert asked for, done after it: the limit is not passed, and the ALARM does not come."""
    told = told_by(["--what-if-advance", "4:18", "--from", "4:40"], capsys)
    row = next(line for line in told.splitlines() if line.startswith(" 4 chalk"))
    assert row.split()[-4:] == ["04:27:24", "04:27:24", "06:33:44", "never"]
    assert "first difference: 04:42:28 then: ALARM escalated: input 4, aged material; not so what if" in told


def test_other_values_of_a_material_are_put_over_the_recorded_ones(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Half the doses: the marks are passed sooner. The recording's own profile is used otherwise."""
    mine = tmp_path / "mine.toml"
    mine.write_text('["demo-chalk"]\nlimit_min = 150.0\nwarn_min = 100.0\n')
    told = told_by(["--what-if-materials", str(mine)], capsys)
    row = next(line for line in told.splitlines() if line.startswith(" 4 chalk"))
    then_s, sooner_s = row.split()[-2:]
    assert then_s == "06:33:44"
    assert sooner_s < then_s


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--from", "1:00"], "--from only goes with"),
        (["--what-if-advance", "4:18"], "needs --from"),
        (["--what-if-advance", "9:18", "--from", "1:00"], "no strand in input 9"),
        (["--what-if-manifold", "180", "--json"], "--json does not go with a what-if"),
        (["--what-if", "no-such.toml"], "no-such.toml"),
    ],
)
def test_a_what_if_that_makes_no_sense_is_refused(
    words: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Status 2, and what to do instead."""
    assert main(["replay", str(LEFT_IDLE), *words]) == 2
    assert told in capsys.readouterr().err


@pytest.mark.parametrize("words", [["--from", "25"], ["--what-if-manifold", "900"], ["--what-if-advance", "x:1"]])
def test_a_value_that_cannot_be_is_refused_at_once(words: list[str]) -> None:
    """By the parser, before the file is read."""
    with pytest.raises(SystemExit):
        main(["replay", "no-such-file.jsonl", *words])
