"""Stalls through the whole engine, on simulated nights whose faults begin early; the engine never sees the truth."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import replace

import pytest

from connectors.recording import Conclusion, read_recording
from connectors.simulated_machine import simulate
from connectors.simulated_scenarios import SCENARIOS
from connectors.telemetry import Event, Sample
from monitor.config import demo_profile
from monitor.core.advice_types import AdviceKind
from monitor.core.alert_types import AlertTransition
from monitor.core.engine import Step, run
from monitor.core.feed import Feed, Feeds
from monitor.core.stall_findings import StallPattern
from monitor.core.stall_watch import Manifold, Pace, paced, stall_watch
from tests.make_replays import FOLDER, TAKES

PARAMETERS = demo_profile().parameters


def _take(name: str) -> Iterator[Event]:
    take = TAKES[name]
    return simulate(take.scenario, period_s=take.period_s, duration_s=take.hours * 3600)


def _told(events: Iterable[Event]) -> tuple[list[AlertTransition], Step]:
    told: list[AlertTransition] = []
    for step in run(events, PARAMETERS):
        told += [change for change in step.transitions if not change.is_by_design]
    return told, step


_WORDS = {"run-out": "the strand has run out", "tangle": "held fast on its spool (tangle)"}
"""One pattern, and which of the two the evidence tells."""


@pytest.mark.parametrize(
    ("name", "input_number", "pattern"),
    [
        ("jam-after-idle", 5, StallPattern.JAM_AFTER_IDLE),
        ("grinding", 2, StallPattern.GRINDING),
        ("slow-clog", 1, StallPattern.SLOW_CLOG),
        ("run-out", 3, StallPattern.RUN_OUT_OR_TANGLE),
        ("tangle", 2, StallPattern.RUN_OUT_OR_TANGLE),
    ],
)
def test_each_pattern_raises_one_alert_of_its_kind(name: str, input_number: int, pattern: StallPattern) -> None:
    """One alert, on the strand concerned, and the pattern is right once it has settled.

    What no drive can move is not to be moved by it; what sticks after standing is withdrawn, not pushed.
    """
    told, last = _told(_take(name))
    stalls = {strand.input: strand.stall.pattern for strand in last.assessment.strands if strand.stall is not None}

    assert [change.alert.condition for change in told if change.event == "raised"] == ["stall"]
    assert stalls == {input_number: pattern}
    assert all(change.alert.input == input_number for change in told)
    (settled,) = (change for change in told if change.event in {"settled", "confirmed"})
    assert _WORDS.get(name, pattern.value) in settled.alert.text
    by_drive = {piece.kind for piece in last.assessment.advice if piece.input == input_number}
    assert by_drive == ({AdviceKind.WITHDRAW} if name in {"jam-after-idle", "slow-clog"} else set())


@pytest.mark.parametrize("period_s", [0.5, 2.0])
def test_a_healthy_night_stalls_nothing(period_s: float) -> None:
    """Two healthy hours with turns, retractions and pauses raise nothing at all, however often the machine reports."""
    told, last = _told(simulate(SCENARIOS["healthy-night"], period_s=period_s, duration_s=7200.0))

    assert told == []
    assert max(strand.fed_mm or 0.0 for strand in last.assessment.strands) > 1000.0


def test_without_encoder_and_driver_nothing_is_said() -> None:
    """Where nothing tells how the strand really moves, the watch does not guess."""
    bare = (
        Sample(
            event.time_s,
            {name: value for name, value in event.values.items() if not name.startswith(("sensed_mm", "stall"))},
        )
        for event in _take("grinding")
        if isinstance(event, Sample)
    )

    assert _told(bare)[0] == []


def test_skipping_in_a_cold_manifold_is_told_by_the_alert_that_has_the_cause() -> None:
    """A manifold below what a strand needs: its 'too cold to feed' alert says that it skips; no second alert."""
    told, last = _told(simulate(SCENARIOS["cold-manifold"], period_s=1.0, duration_s=11_000.0))
    raised = {(change.alert.condition, change.alert.input) for change in told if change.event == "raised"}
    cold = [alert.text for alert in last.assessment.alerts if alert.condition == "cold_feed"]

    assert ("cold_feed", 2) in raised
    assert ("stall", 2) not in raised
    assert any("it skips" in text for text in cold)


def test_limits_follow_the_pace_of_the_machine() -> None:
    """The pace is known after thirty reports, as a power of two; gaps tell nothing; a machine that slows is noticed."""
    pace, time_s = Pace(), 0.0
    for _ in range(40):
        time_s += 1.05
        pace = paced(pace, time_s)
    steady = pace
    pace = paced(pace, time_s + 500.0)
    for index in range(200):
        pace = paced(pace, time_s + 500.0 + 3.0 * (index + 1))

    assert steady.period_s == 1.0
    assert pace.period_s == 4.0
    assert paced(Pace(), 10.0).period_s is None


def test_slip_by_flow_and_temperature_is_kept_in_the_recording() -> None:
    """The end of a recording tells what slip each input showed, in bins that add up to what it fed."""
    recording = read_recording(FOLDER / "slow-clog.jsonl.zst")
    told = [item for item in recording.items() if isinstance(item, Conclusion) and item.kind == "flow_slip"][-1]
    by_input = {row["input"]: row["bins"] for row in told.data["inputs"]}
    fed_mm = {number: sum(bin_["fed_mm"] for bin_ in bins) for number, bins in by_input.items()}
    worst = max(by_input[1], key=lambda bin_: bin_["fed_mm"])

    assert set(by_input) == {1, 2, 3, 4, 5, 6}
    assert min(fed_mm.values()) > 50.0
    assert 0.0 < worst["slip"] < 0.2


@pytest.mark.parametrize("count_mm", [0.1, 1.0, 3.0])
def test_a_whole_healthy_night_raises_nothing_whatever_the_encoder(count_mm: float) -> None:
    """Ten hours of turns, retractions and pauses, with fine, coarse and very coarse counts: no alert at all."""
    strands = tuple(
        replace(strand, drive=replace(strand.drive, encoder_mm_per_count=count_mm)) for strand in PARAMETERS.strands
    )
    night = (_counted(event, count_mm) for event in simulate(SCENARIOS["healthy-night"], seed=5, period_s=1.0))
    steps = run(night, replace(PARAMETERS, strands=strands))
    told = [change for step in steps for change in step.transitions if not change.is_by_design]

    assert told == []


def _counted(event: Event, count_mm: float) -> Event:
    if not isinstance(event, Sample):
        return event
    values = {
        name: math.floor(value / count_mm + 1e-6) * count_mm if name.startswith("sensed_mm") else value
        for name, value in event.values.items()
    }
    return replace(event, values=values)


def test_a_cold_manifold_that_makes_strands_skip_is_one_alert() -> None:
    """One call for one cause: the manifold is too cold, and the alert says who is concerned."""
    told, last = _told(_take("cold-manifold"))
    shown = [change.alert.condition for change in told if change.event == "raised" and not change.alert.folded_under]
    (alert,) = last.assessment.alerts

    assert shown == ["cold_feed"]
    assert len(alert.also) >= 2


def test_an_encoder_that_catches_up_once_feed_stands_is_read_again() -> None:
    """Through the watch of all inputs: the newest reading shows what the encoder says while nothing is fed."""
    watch, stalls = stall_watch(PARAMETERS), stall_watch(PARAMETERS).initial()
    still = Feeds((Feed(0.0),) * len(PARAMETERS.strands), (0.0,) * len(PARAMETERS.strands))
    readings = [(0.5 * number, 1.0 * number, 1.0 * number) for number in range(60)]
    readings += [(30.0, 60.0, 60.9), (30.5, 60.0, 59.8), (61.0, 60.0, 59.0)]
    before, shown = still, []
    for time_s, fed_mm, sensed_mm in readings:
        first = Feed(fed_mm, 0.0, fed_mm, moved_s=time_s)
        now = Feeds((first, *still.strands[1:]), (time_s, *still.seen_s[1:]))
        values = {"fed_mm:1": fed_mm, "sensed_mm:1": sensed_mm}
        stalls = watch.after(stalls, values, time_s, (before, now), (None,) * len(still.strands), Manifold(None, None))
        before, ledger = now, stalls.inputs[0].state.ledger
        shown.append(None if ledger is None else ledger.sensed_mm)
    assert shown[-3:] == [60.9, 59.8, 59.8]  # half a minute later a new turn begins
