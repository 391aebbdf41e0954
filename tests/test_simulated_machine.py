"""Whole nights of the simulated machine: what is told, when, and how each scenario differs from the healthy night."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import cache
from itertools import islice, pairwise, zip_longest
from statistics import fmean

import pytest

from connectors.errors import SettingsError
from connectors.simulated_feed import CYCLE_MM
from connectors.simulated_machine import simulate
from connectors.simulated_scenarios import BUILD, INPUTS, NIGHT_S, SCENARIOS, Scenario
from connectors.telemetry import CHANNEL_UNITS, Event, Execution, LinkChange, Malformed, Sample, Tick, channel

HEALTHY = SCENARIOS["healthy-night"]
NAMES = {
    "healthy-night",
    "fading-radiator",
    "left-idle",
    "cold-manifold",
    "jam-after-idle",
    "grinding",
    "slow-clog",
    "run-out",
    "tangle",
    "narrowing-channel",
    "link-drop-outs",
    "heater-failing",
    "loose-sensor",
}
FAULTY = sorted(NAMES - {"healthy-night"})


def samples(scenario: Scenario, duration_s: float | None = None, seed: int = 1) -> Iterator[Sample]:
    events = simulate(scenario, seed, duration_s=duration_s)
    return (event for event in events if isinstance(event, Sample))


@cache
def night_of(name: str) -> tuple[Sample, ...]:
    """Two samples a minute of the whole night: few enough to keep, for several tests share them."""
    return tuple(sample for sample in samples(SCENARIOS[name]) if sample.time_s % 30 == 0)


def at(name: str, hour: float) -> Mapping[str, float]:
    return night_of(name)[round(hour * 120) - 1].values


def slip(name: str, number: int, from_h: float, to_h: float) -> float:
    """Share of the commanded feed that the encoder missed."""
    early, late = at(name, from_h), at(name, to_h)
    fed_mm = late[f"fed_mm:{number}"] - early[f"fed_mm:{number}"]
    assert fed_mm > 100
    return 1 - (late[f"sensed_mm:{number}"] - early[f"sensed_mm:{number}"]) / fed_mm


def test_scenarios_are_complete_and_tell_their_story() -> None:
    """All thirteen scenarios are there under their names, each with a title and a story in whole sentences."""
    assert set(SCENARIOS) == NAMES
    for name, scenario in SCENARIOS.items():
        assert scenario.name == name
        assert scenario.title
        assert scenario.story.endswith(".")
        assert scenario.build == BUILD
    assert [name for name in NAMES if SCENARIOS[name].onset_s == float("inf")] == ["healthy-night"]


@pytest.mark.parametrize("name", ["grinding", "cold-manifold"])
def test_the_same_seed_gives_the_same_night_and_another_seed_another(name: str) -> None:
    """Every event repeats exactly with its seed; another seed changes readings and moves."""
    short_s = SCENARIOS[name].onset_s + 1_200
    first, again, other = (
        list(islice(simulate(SCENARIOS[name], seed, duration_s=short_s), 8_000, None)) for seed in (5, 5, 6)
    )
    assert first == again
    assert first != other


def test_the_link_is_announced_first() -> None:
    """The first event tells that a simulated machine is there, and which invented build it runs."""
    first = next(simulate(HEALTHY))
    assert first == LinkChange(0.0, True, first.reason if isinstance(first, LinkChange) else "")  # noqa: FBT003 -- a field
    assert first.reason.startswith("simulated machine")
    assert BUILD in first.reason


def test_every_sample_carries_every_channel_by_its_proper_name() -> None:
    """Each channel name is one that telemetry knows, shares and flags are within their bounds, times are regular."""
    machine = {"progress"}
    sensors = {f"temp_c:{sensor}" for sensor in ("manifold", "nozzle", "cold_end", "coolant")}
    heaters = {f"{kind}:{sensor}" for kind in ("set_c", "duty") for sensor in ("manifold", "nozzle")}
    inputs = {channel(kind, number) for kind in ("fed_mm", "sensed_mm", "stall") for number in INPUTS}
    for number, sample in enumerate(samples(HEALTHY, 2_000), start=1):
        assert sample.time_s == number
        assert set(sample.values) == machine | sensors | heaters | inputs
        assert {name.partition(":")[0] for name in sample.values} <= set(CHANNEL_UNITS)
        for name, value in sample.values.items():
            if name.startswith(("duty", "stall", "progress")):
                assert 0 <= value <= 1


def test_a_night_heats_up_builds_and_cools() -> None:
    """States follow in order, set points and progress with them; at the end the build is whole and the heat off."""
    night = night_of("healthy-night")
    states = [sample.execution for sample in night]
    order = [state for state, later in pairwise([*states, None]) if state != later]
    assert order == [Execution.READY, Execution.WAIT, Execution.ACTIVE, Execution.PROGRAM_COMPLETED]
    assert night[-1].time_s == NIGHT_S
    progress = [sample.values["progress"] for sample in night]
    assert progress == sorted(progress)
    assert (progress[0], progress[-1]) == (0.0, 1.0)
    assert all(s.values["progress"] < 1 for s in night if s.execution is Execution.ACTIVE)
    assert night[-1].values["set_c:manifold"] == 0
    assert night[-1].values["duty:manifold"] == 0
    assert night[-1].values["temp_c:manifold"] < 80
    waiting = [sample for sample in night if sample.execution is Execution.WAIT]
    assert 6 <= len(waiting) <= 40
    assert all(sample.values[f"fed_mm:{number}"] == 0 for sample in waiting for number in INPUTS)


def test_the_healthy_build_holds_its_temperatures() -> None:
    """While the build runs, blocks hold their set points and the cold end stays cool."""
    building = [sample.values for sample in night_of("healthy-night") if sample.execution is Execution.ACTIVE]
    assert len(building) > 1_000
    for sensor, wanted_c in (("manifold", 195.0), ("nozzle", 225.0)):
        assert {values[f"set_c:{sensor}"] for values in building} == {wanted_c}
        assert fmean(values[f"temp_c:{sensor}"] for values in building) == pytest.approx(wanted_c, abs=0.1)
        assert max(abs(values[f"temp_c:{sensor}"] - wanted_c) for values in building) < 1.5
    assert all(28 < values["temp_c:cold_end"] < 38 for values in building)
    assert all(0.05 < values["duty:nozzle"] < values["duty:manifold"] < 0.6 for values in building)


def test_the_healthy_build_slips_as_little_as_a_healthy_drive() -> None:
    """Over the night every encoder agrees with the commanded feed to 2 %, and hardly a stall is reported."""
    for number in INPUTS:
        assert abs(slip("healthy-night", number, 0.5, 9.5)) < 0.02
    stalls = sum(s.values[f"stall:{number}"] for s in samples(HEALTHY, 10_000) for number in INPUTS)
    assert stalls <= 3


@pytest.mark.parametrize("name", FAULTY)
def test_before_its_onset_a_night_is_the_healthy_one(name: str) -> None:
    """Nothing differs before the onset: the truth leaks into no reading but the progress of another file."""
    scenario = SCENARIOS[name]
    assert 1_000 < scenario.onset_s < 20_000
    same_file = not scenario.absences
    last_s = scenario.onset_s - 1
    for ours, healthy in zip_longest(samples(scenario, last_s), samples(HEALTHY, last_s)):
        assert (ours.time_s, ours.execution) == (healthy.time_s, healthy.execution)
        differing = dict(ours.values.items() ^ healthy.values.items())
        assert not differing or (not same_file and set(differing) == {"progress"})


def test_a_fading_radiator_warms_the_cold_side_over_hours() -> None:
    """Coolant and cold end rise for hours and pass 60 °C; the heated blocks and the feed stay as they are."""
    name = "fading-radiator"
    cold_end = [at(name, hour)["temp_c:cold_end"] for hour in (1.4, 3, 4, 5, 6, 7, 8, 9)]
    assert all(later > earlier + 0.5 for earlier, later in pairwise(cold_end))
    assert cold_end[1] < 42
    assert 60 < cold_end[-1] < 80
    assert all(at(name, h)["temp_c:coolant"] < at(name, h)["temp_c:cold_end"] for h in (2.0, 5.0, 9.0))
    for kind in ("fed_mm", "sensed_mm"):
        for number in INPUTS:
            assert at(name, 9)[f"{kind}:{number}"] == at("healthy-night", 9)[f"{kind}:{number}"]


def test_a_strand_left_idle_stands_for_the_rest_of_the_night() -> None:
    """Input 4 feeds in the first half hour and never again; the others go on."""
    early, late = at("left-idle", 0.6), at("left-idle", 9.5)
    assert early["fed_mm:4"] > 50
    assert late["fed_mm:4"] == early["fed_mm:4"]
    assert all(late[f"fed_mm:{number}"] > early[f"fed_mm:{number}"] + 500 for number in INPUTS if number != 4)


def test_a_cold_manifold_skips_in_whole_cycles_while_it_is_cold() -> None:
    """During the stretch the set point is 25 K lower, drives skip and some say so; after it they feed well again."""
    name = "cold-manifold"
    assert at(name, 2.4)["set_c:manifold"] == 195.0
    assert at(name, 3.5)["set_c:manifold"] == 170.0
    assert at(name, 3.5)["temp_c:manifold"] == pytest.approx(170.0, abs=1.5)
    assert at(name, 4.2)["set_c:manifold"] == 195.0
    assert 0.05 < slip(name, 1, 2.6, 4.0) < 0.6
    assert abs(slip(name, 1, 4.2, 9.0)) < 0.02
    lost_mm = at("healthy-night", 5)["sensed_mm:1"] - at(name, 5)["sensed_mm:1"]
    assert lost_mm / CYCLE_MM == pytest.approx(round(lost_mm / CYCLE_MM), abs=0.3)  # one count of the encoder
    stalls = sum(s.values["stall:1"] for s in samples(SCENARIOS[name], 14_400) if s.time_s > 9_000)
    assert stalls > 20


def test_a_jam_follows_a_long_stand() -> None:
    """Input 5 stands for more than two hours, then takes hardly any feed and its driver reports stalls."""
    name = "jam-after-idle"
    assert at(name, 1.4)["fed_mm:5"] == at(name, 3.49)["fed_mm:5"]
    assert abs(slip(name, 1, 3.5, 9)) < 0.02
    assert 0.7 < slip(name, 5, 3.5, 9) < 1
    stalls = [s.time_s for s in samples(SCENARIOS[name], 14_400) if s.values["stall:5"] > 0]
    assert len(stalls) > 3
    fault = SCENARIOS[name].fault
    assert fault is not None
    assert min(stalls) > fault.onset_s


def test_grinding_stops_the_sensed_feed_without_stalls() -> None:
    """Of input 2 hardly anything moves from the onset on; its driver notices nothing, and less heat is drawn."""
    assert abs(slip("grinding", 2, 0.5, 3.3)) < 0.02
    assert slip("grinding", 2, 3.5, 9) > 0.85
    after = [s for s in night_of("grinding") if 12_000 < s.time_s < 34_000]
    healthy = [s for s in night_of("healthy-night") if 12_000 < s.time_s < 34_000]
    assert sum(s.values["stall:2"] for s in after) == 0
    ours, theirs = (fmean(s.values["duty:manifold"] for s in night) for night in (after, healthy))
    assert ours < theirs - 0.002


def test_a_slow_clog_grows_over_the_night() -> None:
    """Slip of input 1 grows hour by hour from nothing to a third or more; the others are well."""
    growth = [slip("slow-clog", 1, hour, hour + 1.0) for hour in (1.0, 3.0, 5.0, 7.0, 8.5)]
    assert growth == sorted(growth)
    assert growth[0] < 0.02
    assert growth[1] < 0.25
    assert growth[-1] > 0.33
    assert abs(slip("slow-clog", 2, 1.0, 9.0)) < 0.02


def test_run_out_stops_the_encoder_dead() -> None:
    """From the first feed after the onset on, the encoder of input 3 does not move by one count."""
    moving_s = [
        later.time_s
        for earlier, later in pairwise(samples(SCENARIOS["run-out"], 20_000))
        if later.values["sensed_mm:3"] != earlier.values["sensed_mm:3"]
    ]
    assert max(moving_s) < SCENARIOS["run-out"].onset_s + 2
    assert slip("run-out", 3, 4.3, 9) == 1.0


def test_a_tangle_stops_the_strand_with_stalls() -> None:
    """Once the strand of input 2 is tight almost nothing passes, and its driver says so; the others feed."""
    name = "tangle"
    assert abs(slip(name, 2, 0.5, 3.7)) < 0.02
    assert slip(name, 2, 4.0, 9) > 0.9
    assert abs(slip(name, 1, 4.0, 9)) < 0.02
    stalls = sum(s.values["stall:2"] for s in samples(SCENARIOS[name], 20_000) if s.time_s > 13_500)
    assert stalls > 20


def test_a_narrowing_channel_loses_fast_stretches_first() -> None:
    """Slip of input 1 grows hour by hour with stalls; in the end half of its feed is lost."""
    name = "narrowing-channel"
    growth = [slip(name, 1, hour, hour + 1.0) for hour in (1.0, 3.0, 5.0, 7.0)]
    assert growth == sorted(growth)
    assert growth[0] < 0.02
    assert 0.005 < growth[1] < 0.3
    assert growth[-1] > 0.5
    assert abs(slip(name, 2, 1.0, 9.0)) < 0.02


@pytest.mark.parametrize(
    ("name", "number", "from_h"), [("jam-after-idle", 5, 3.6), ("grinding", 2, 3.5), ("tangle", 2, 4.0)]
)
def test_a_milder_fault_takes_less(name: str, number: int, from_h: float) -> None:
    """At half the severity a drive that fails still gets about half of its feed through."""
    fault = SCENARIOS[name].fault
    assert fault is not None
    mild = replace(SCENARIOS[name], fault=replace(fault, severity=0.5))
    early, late = (list(samples(mild, from_h * 3_600 + wait_s))[-1].values for wait_s in (0.0, 7_200.0))
    fed_mm = late[f"fed_mm:{number}"] - early[f"fed_mm:{number}"]
    sensed_mm = late[f"sensed_mm:{number}"] - early[f"sensed_mm:{number}"]
    assert fed_mm > 50
    assert 0.35 < 1 - sensed_mm / fed_mm < 0.55


def test_a_slower_clog_and_a_warmer_manifold_take_less() -> None:
    """A tenth of the growth, or a quarter of the kelvins, and slip stays below 10 %, or away altogether."""
    for name, severity, most in (("slow-clog", 0.1, 0.06), ("cold-manifold", 0.25, 0.02)):
        fault = SCENARIOS[name].fault
        assert fault is not None
        mild = replace(SCENARIOS[name], fault=replace(fault, severity=severity))
        *_, last = samples(mild, 14_000)
        usual = at(name, 14_000 / 3_600)
        lost_mm, usual_mm = (v["fed_mm:1"] - v["sensed_mm:1"] for v in (last.values, usual))
        assert lost_mm < usual_mm - 10
        assert lost_mm / last.values["fed_mm:1"] < most


@pytest.mark.parametrize("name", ["jam-after-idle", "grinding", "tangle", "run-out"])
def test_the_heater_feels_that_less_melts(name: str) -> None:
    """Once nothing of a strand melts, the heaters need less than in the healthy night, whatever the pattern."""
    fault = SCENARIOS[name].fault
    assert fault is not None
    ours, healthy = (
        fmean(s.values["duty:manifold"] for s in night_of(night) if fault.onset_s + 600 < s.time_s < 34_000)
        for night in (name, "healthy-night")
    )
    assert ours < healthy - 0.0005


def silences(events: list[Event]) -> list[tuple[float, float]]:
    times_s = [event.time_s for event in events if isinstance(event, Sample)]
    return [(earlier, later - earlier) for earlier, later in pairwise(times_s) if later - earlier > 3]


def test_drop_outs_silence_the_line_and_not_the_machine() -> None:
    """Samples fail for as long as the scenario says, told or not; what arrives is what the healthy machine read."""
    scenario = SCENARIOS["link-drop-outs"]
    events = list(simulate(scenario, duration_s=18_000))
    past = [outage for outage in scenario.outages if outage.start_s < 18_000]
    assert silences(events) == [(outage.start_s - 1, outage.length_s + 1) for outage in past]
    changes = [(event.time_s, event.available) for event in events if isinstance(event, LinkChange)][1:]
    told = [outage for outage in past if outage.told]
    both = [((o.start_s, False), (o.start_s + o.length_s, True)) for o in told]
    assert changes == [change for pair in both for change in pair]
    assert sum(isinstance(event, Malformed) for event in events) == 5
    healthy = {sample.time_s: sample for sample in samples(HEALTHY, 18_000)}
    assert all(event == healthy[event.time_s] for event in events if isinstance(event, Sample))


@pytest.mark.parametrize("period_s", [0.25, 1.0, 5.0])
def test_ticks_beat_once_a_second_through_a_silence(period_s: float) -> None:
    """During a silence a tick comes about once a second, or with each period if that is longer."""
    ticks_s = [
        event.time_s
        for event in simulate(SCENARIOS["link-drop-outs"], period_s=period_s, duration_s=3_700)
        if isinstance(event, Tick)
    ]
    assert ticks_s[0] == 3_600
    assert [later - earlier for earlier, later in pairwise(ticks_s)] == [max(1.0, period_s)] * (len(ticks_s) - 1)


@pytest.mark.parametrize("period_s", [0.1, 0.25, 5.0])
def test_other_periods_tell_the_same_physics(period_s: float) -> None:
    """Reading faster or slower changes the number of samples, not the state of the machine."""
    *_, last = (e for e in simulate(HEALTHY, period_s=period_s, duration_s=1_500) if isinstance(e, Sample))
    *_, usual = samples(HEALTHY, 1_500)
    assert last.time_s == pytest.approx(1_500)
    assert last.values["temp_c:manifold"] == pytest.approx(usual.values["temp_c:manifold"], abs=1.0)
    assert last.values["temp_c:coolant"] == pytest.approx(usual.values["temp_c:coolant"], abs=0.5)
    assert sum(last.values[f"fed_mm:{n}"] for n in INPUTS) > 300


@pytest.mark.parametrize(
    ("setting", "value"), [("period_s", 0.0), ("period_s", float("nan")), ("duration_s", -1.0), ("duration_s", 0.0)]
)
def test_settings_out_of_range_are_refused_at_once(setting: str, value: float) -> None:
    """A wrong setting is told before the first event, with its name and value."""
    with pytest.raises(SettingsError, match=rf"{setting} = {value}.*allowed"):
        simulate(HEALTHY, **{setting: value})  # type: ignore[arg-type]  # it is one of the two numbers
